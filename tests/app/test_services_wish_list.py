"""What to order: chances and quantities against exact binomial limits, money by hand, the words of the answer."""

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError
from scipy import stats

from app.comparing.wish_list import answer_wish_list
from app.schemas.wish_list import WishListAnswer, WishListRequest, WishOutcome
from app.serving.engine import Engine
from tests.app.batches import (
    BATCH,
    CARGO,
    COURIER,
    MONDAY,
    Fields,
    compare,
    engine,
    fixed,
    line,
    order_size,
)  # fmt: skip

SLOW: Fields = COURIER | {"transit_days": fixed(8.0)}


def request(**fields: Any) -> WishListRequest:
    return WishListRequest.model_validate_json(json.dumps({"ship_date": MONDAY} | BATCH | fields))


def wish_list(of: Engine | None = None, **fields: Any) -> WishListAnswer:
    return answer_wish_list(request(**fields), of or engine())


def alike(chance: float) -> Engine:
    """Return a model in which every plant is healthy with the same chance: all loss is at packing, none later."""
    draws = engine().draws
    parameters = draws.parameters
    h0 = np.full(draws.n_draws, -np.log(chance))
    never = np.full(draws.n_draws, -60.0)
    return Engine(
        "alike", engine().reference, replace(draws, parameters=replace(parameters, alpha=never, h0=h0, lost=0.0 * h0))
    )


def test_lines_and_routes_stand_in_the_order_asked() -> None:
    answer = wish_list()
    assert [route.name for route in answer.routes] == ["courier", "air cargo"]
    for route in answer.routes:
        assert [(found.line, found.genus, found.quantity) for found in route.lines] == [
            (0, "Aglaonema", 18),
            (1, "Hoya", 14),
        ]
    assert [advice.line for advice in answer.advice] == [0, 1]
    assert answer.model_version == engine().model_version


def test_money_is_that_of_the_comparison() -> None:
    """The same draws: landed cost, margins and their sum."""
    answer, compared = wish_list(), compare()
    for route, other in zip(answer.routes, compared.routes, strict=True):
        assert route.landed_cost == other.money.landed_cost
        assert route.margin == other.money.margin
        assert [found.margin_mean for found in route.lines] == [found.margin_mean for found in other.lines]
        assert sum(found.margin_mean for found in route.lines) == pytest.approx(route.margin.mean)
        assert sum(found.landed_cost for found in route.lines) == pytest.approx(route.landed_cost)
        assert sum(found.recovered_mean for found in route.lines) == pytest.approx(other.money.recovered_mean)


def test_shared_costs_by_hand() -> None:
    """Courier: 18 x 8 = 144 and 14 x 12 = 168; duty and tax 1.06 x 1.2 - 1 = 0.272 of it; 223 shared by 32 plants."""
    aglaonema, hoya = wish_list().routes[0].lines
    common = 135 + 28 + 35 + 25
    assert aglaonema.landed_cost == pytest.approx(144 * 1.272 + common * 18 / 32, abs=0.02)
    assert hoya.landed_cost == pytest.approx(168 * 1.272 + common * 14 / 32, abs=0.02)


def test_a_plant_by_hand() -> None:
    """Sales and half-honoured refunds from the comparison's counts; late injuries sell as damaged, at 0.4."""
    [found] = wish_list(lines=[line("Aglaonema", 30)], routes=[COURIER]).routes[0].lines
    plants = compare(lines=[line("Aglaonema", 30)], routes=[COURIER]).routes[0].plants
    landed = 30 * 8 * 1.272 + 223
    recovered = 0.5 * 8 * plants.dead.mean
    late = plants.healthy.mean - plants.healthy_two_weeks.mean
    sales = 31 * (plants.healthy_two_weeks.mean + 0.4 * (plants.damaged.mean + late))
    assert found.recovered_mean == pytest.approx(recovered)
    assert found.margin_per_plant == pytest.approx((sales + recovered - landed) / 30, abs=0.01)
    assert found.cost_per_healthy_plant == pytest.approx((landed - recovered) / plants.healthy_two_weeks.mean, abs=0.01)
    assert found.healthy.mean == pytest.approx(plants.healthy.mean / 30, rel=0.01)
    assert found.healthy_two_weeks.mean == pytest.approx(plants.healthy_two_weeks.mean / 30, rel=0.01)
    assert found.healthy_two_weeks.mean < found.healthy.mean
    # Alone, leaving it out saves everything: the margin is what would be gained, with the other sign.
    assert found.gain_if_left_out == pytest.approx(-found.margin_mean, abs=0.01)


def test_what_leaving_a_line_out_brings_by_hand() -> None:
    """Of 32 plants at 20 a box two boxes travel; without the 14 Hoya one does: its 135 are saved, nothing else."""
    packing = BATCH["packing"] | {"capacity": 20}
    [route] = wish_list(packing=packing, routes=[COURIER]).routes
    hoya = route.lines[1]
    sales_and_claims = hoya.margin_mean + hoya.landed_cost
    assert hoya.gain_if_left_out == pytest.approx(168 * 1.272 + 135 - sales_and_claims, abs=0.02)
    # With room for all in one box its freight is not saved.
    [route] = wish_list(routes=[COURIER]).routes
    hoya = route.lines[1]
    sales_and_claims = hoya.margin_mean + hoya.landed_cost
    assert hoya.gain_if_left_out == pytest.approx(168 * 1.272 - sales_and_claims, abs=0.02)


def found_on(route: Fields, **fields: Any) -> WishOutcome:
    lines = [line("Hoya", 20, unit_cost=14, sale_value=80), line("Fittonia", 20, **fields)]
    return wish_list(lines=lines, routes=[route]).routes[0].lines[1]


def test_lines_that_lose_money_say_why() -> None:
    dear = found_on(COURIER, unit_cost=31, sale_value=20)
    assert dear.loses_money
    assert dear.reason is not None
    # 31 x 1.272 and a share of 223 / 40.
    assert "Even if all 20 arrived healthy" in dear.reason
    assert "one costs 45.01 GBP landed and sells for 20.00 GBP" in dear.reason
    travels_badly = found_on(SLOW | {"transit_days": fixed(14.0)}, unit_cost=4, sale_value=30)
    assert travels_badly.loses_money
    assert travels_badly.reason is not None
    # 20 x 30 less 20 x 4 x 1.272 and half of 223.
    assert "It loses money by travelling: if all 20 arrived healthy it would earn 387 GBP" in travels_badly.reason
    earns = found_on(CARGO, unit_cost=1, sale_value=60)
    assert (earns.loses_money, earns.reason) == (False, None)


def test_a_line_may_lose_money_and_yet_carry_common_costs() -> None:
    """Sold at little above its own cost it does not pay its share of freight, but the batch is better with it."""
    kept = found_on(COURIER | {"transit_days": fixed(2.5)}, unit_cost=4, sale_value=9)
    assert kept.loses_money
    assert kept.gain_if_left_out < 0
    assert kept.reason is not None
    assert "would still earn" in kept.reason
    left_out = found_on(COURIER, unit_cost=30, sale_value=20)
    assert left_out.gain_if_left_out > 0
    assert left_out.reason is not None
    assert f"would earn {left_out.gain_if_left_out:,.0f} GBP more" in left_out.reason


def test_advice_is_the_route_with_the_best_margin_a_plant() -> None:
    answer = wish_list(lines=[line("Aglaonema", 20), line("Fittonia", 20, unit_cost=30, sale_value=20)])
    margins = {route.name: route.lines[0].margin_per_plant for route in answer.routes}
    assert answer.advice[0].route == max(margins, key=lambda name: margins[name])
    assert answer.advice[1].route is None
    assert "loses money on every route" in answer.advice[1].text


@pytest.mark.parametrize("travel", ["together", "apart"])
def test_the_quantity_is_that_of_an_order_of_the_line(travel: str) -> None:
    routes = [SLOW | {"travel": travel}]
    lines = [line("Hoya", 7), line("Aglaonema", 20)]
    packing = BATCH["packing"] | {"capacity": 25}
    wished = [lines[0], lines[1] | {"wanted_healthy": 30, "confidence": 0.7}]
    found = wish_list(lines=wished, routes=routes, packing=packing).routes[0].lines
    target = {"line": 1, "healthy": 30, "confidence": 0.7}
    [order] = order_size(lines=lines, routes=routes, packing=packing, target=target).routes
    assert found[0].wanted is None
    assert found[1].wanted is not None
    assert found[1].wanted.model_dump(exclude={"wanted_healthy", "confidence"}) == order.model_dump(
        include={"quantity", "boxes", "chance", "landed_cost"}
    )


@pytest.mark.parametrize("travel", ["together", "apart"])
@pytest.mark.parametrize(("wanted", "confidence"), [(10, 0.8), (40, 0.95), (1, 0.5)])
def test_without_box_effects_the_quantity_is_binomial(wanted: int, confidence: float, travel: str) -> None:
    """Where every plant has the same chance, boxes and draws tell nothing: scipy's binomial gives the quantity."""
    chance = 0.75
    wished = [line("Aglaonema", 20, wanted_healthy=wanted, confidence=confidence)]
    routes = [SLOW | {"travel": travel}]
    packing = BATCH["packing"] | {"capacity": 30}
    [found] = wish_list(alike(chance), lines=wished, routes=routes, packing=packing).routes[0].lines
    smallest = next(n for n in range(wanted, 400) if stats.binom.sf(wanted - 1, n, chance) >= confidence)
    assert found.healthy.mean == pytest.approx(chance, abs=1e-9)
    assert found.healthy.low == pytest.approx(found.healthy.high, abs=1e-9)
    assert found.wanted is not None
    if travel == "apart" and smallest > 30:
        # The plants of full boxes are drawn.
        assert found.wanted.quantity == pytest.approx(smallest, abs=1)
    else:
        assert found.wanted.quantity == smallest
        assert found.wanted.chance == pytest.approx(stats.binom.sf(wanted - 1, smallest, chance), abs=1e-9)


def test_what_cannot_be_reached_is_said() -> None:
    wished = [line("Fittonia", 20, wanted_healthy=9_999, sale_value=900)]
    answer = wish_list(lines=wished, routes=[COURIER])
    wanted = answer.routes[0].lines[0].wanted
    assert wanted is not None
    assert (wanted.quantity, wanted.boxes, wanted.chance, wanted.landed_cost) == (None,) * 4
    assert "no order up to 10,000" in answer.advice[0].text


def test_the_season_counts() -> None:
    """A box without a heat pack in January and in July."""
    packing = {"container": "foam_box", "roots": "damp_wrap", "capacity": 60}
    january, july = (
        wish_list(packing=packing, ship_date=day, routes=[COURIER]).routes[0].lines[0].healthy_two_weeks.mean
        for day in (MONDAY, "2027-07-12")
    )
    assert july > january + 0.02


def test_wanted_and_confidence_have_bounds() -> None:
    for wrong in ({"wanted_healthy": 0}, {"confidence": 0.2}, {"confidence": 1.0}, {"wanted": 3}):
        with pytest.raises(ValidationError):
            request(lines=[line("Hoya", 5, **wrong)])


@pytest.mark.parametrize("budget", [75, 100, 200])
def test_what_to_order_earns_most_of_all_orders_within_the_budget(budget: int) -> None:
    """Against every order there is: money by hand, each plant alike, boxes of up to 6 plants."""
    lines = [line("Hoya", 4, unit_cost=10, sale_value=40), line("Begonia", 3, unit_cost=6, sale_value=26)]
    lines.append(line("Aglaonema", 5, unit_cost=9, sale_value=8))  # costs more than it brings
    packing = {"container": "foam_box", "roots": "damp_wrap", "capacity": 6}
    freight, handling = 30, 10
    courier = COURIER | {"freight": freight, "handling": handling}
    terms: Fields = {"costs": {"duty_rate": 0, "tax_rate": 0}, "recourse": {"kind": "none"}, "routes": [courier]}
    answer = wish_list(alike(0.9), lines=lines, packing=packing, **terms, budget=budget)
    [route] = answer.routes
    brings = [(found.margin_mean + found.landed_cost) / found.quantity for found in route.lines]

    def margin_and_cost(quantities: tuple[int, ...]) -> tuple[float, float]:
        boxes = -(-sum(quantities) // 6)
        plants = sum(n * row["unit_cost"] for n, row in zip(quantities, lines, strict=True))
        cost = plants + boxes * freight + handling
        return sum(n * b for n, b in zip(quantities, brings, strict=True)) - cost, cost

    every = [(a, b, c) for a in range(5) for b in range(4) for c in range(6) if a + b + c]
    margin, best = max((m, q) for q in every for m, cost in [margin_and_cost(q)] if cost <= budget)
    assert answer.best is not None
    assert tuple(answer.best.quantities) == best
    assert answer.best.margin_mean == pytest.approx(margin)
    assert answer.best.landed_cost == pytest.approx(margin_and_cost(best)[1])
    assert answer.lead.startswith(f"Order {best[0]} Hoya")
    assert f"within {budget} GBP" in answer.lead
    assert answer.lead.endswith("leave out Aglaonema.") == (best[1] > 0)


def test_nothing_is_ordered_where_nothing_earns_its_cost() -> None:
    answer = wish_list(lines=[line("Hoya", 4, unit_cost=10, sale_value=1)])
    assert answer.best is None
    assert answer.lead == "Order nothing of this list: no order earns its landed cost on average."


def test_a_budget_below_the_freight_is_named_as_the_reason() -> None:
    terms: Fields = {"costs": {"duty_rate": 0, "tax_rate": 0}, "routes": [COURIER | {"freight": 135, "handling": 10}]}
    lines = [line("Hoya", 20, unit_cost=10, sale_value=60)]
    without = wish_list(alike(0.9), lines=lines, **terms)
    assert without.best is not None
    answer = wish_list(alike(0.9), lines=lines, **terms, budget=100)
    assert answer.best is None
    assert answer.lead == (
        "Order nothing of this list within 100 GBP: before its plants an order costs 145 GBP, and none so small earns "
        f"its landed cost; the best without that limit is {without.best.landed_cost:.0f} GBP landed, "
        f"{without.best.margin_mean:.0f} GBP margin on average."
    )
