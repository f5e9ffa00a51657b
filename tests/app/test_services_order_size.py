"""How many to order: the smallest quantity that reaches the wanted chance, and its cost."""

from dataclasses import replace
from math import floor

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from app.batch.batch import prepare
from tests.app.batches import CARGO, COURIER, Fields, engine, fixed, line, order_size, order_size_request, simulation

ONE_LINE: Fields = {"lines": [line("Aglaonema", 20)], "routes": [COURIER | {"transit_days": fixed(8.0)}]}


def simulated_chances(**fields: object) -> NDArray[np.float64]:
    """Return the chance of a plant of the target line on the first route in each draw."""
    request = order_size_request(**fields)
    drawn, weather = simulation(request)
    plan = replace(prepare(request, engine()).routes[0].plan, n_boxes=1, apart=False)
    journeys = drawn.journeys(plan, request.ship_date, weather)
    return drawn.chance_by_box(plan, journeys, request.target.line)[:, 0]


@pytest.mark.parametrize(("healthy", "confidence"), [(20, 0.8), (5, 0.9), (1, 0.5), (60, 0.75)])
def test_it_is_the_smallest_that_reaches_the_chance(healthy: int, confidence: float) -> None:
    fields: Fields = ONE_LINE | {"target": {"line": 0, "healthy": healthy, "confidence": confidence}}
    [order] = order_size(**fields).routes
    assert order.quantity is not None
    chances = simulated_chances(**fields)
    enough, fewer = (
        float(np.mean(stats.binom.sf(healthy - 1, n, chances))) for n in (order.quantity, order.quantity - 1)
    )
    assert fewer < confidence <= enough
    assert order.chance == pytest.approx(enough, abs=1e-9)
    assert order.healthy is not None
    assert order.healthy.mean == pytest.approx(order.quantity * chances.mean(), rel=0.02)


def test_other_lines_stay_as_asked() -> None:
    lines = [line("Hoya", 7), line("Aglaonema", 20)]
    fields: Fields = ONE_LINE | {"lines": lines, "target": {"line": 1, "healthy": 15, "confidence": 0.8}}
    [order] = order_size(**fields).routes
    assert order.quantity is not None
    plants = next(item.amount for item in order.items if item.code == "plants")
    assert plants == 8 * (7 + order.quantity)


def test_null_when_it_cannot_be_reached() -> None:
    routes = [COURIER | {"transit_days": fixed(25.0)}, CARGO]
    lines = [line("Fittonia", 20)]
    poor, good = order_size(lines=lines, routes=routes, target={"line": 0, "healthy": 9_999, "confidence": 0.9}).routes
    for order in (poor, good):
        assert (order.quantity, order.boxes, order.chance, order.healthy, order.landed_cost) == (None,) * 5
        assert order.items == []


@pytest.mark.parametrize("travel", ["together", "apart"])
def test_more_wanted_costs_more_and_boxes_fill(travel: str) -> None:
    packing = {"container": "foam_box", "roots": "damp_wrap", "capacity": 25}
    costs, sizes = [], []
    for healthy in (10, 20, 40, 80):
        fields: Fields = ONE_LINE | {"packing": packing, "target": {"line": 0, "healthy": healthy, "confidence": 0.7}}
        fields["routes"] = [fields["routes"][0] | {"travel": travel}]
        [order] = order_size(**fields).routes
        assert order.quantity is not None
        assert order.landed_cost is not None
        assert order.boxes == -(-order.quantity // 25)
        items = {item.code: item.amount for item in order.items}
        waybills = order.boxes if travel == "apart" else 1
        assert items["freight"] == 135 * order.boxes
        assert items["handling"] == 28 * waybills
        assert sum(items.values()) == pytest.approx(order.landed_cost)
        costs.append(order.landed_cost)
        sizes.append(order.quantity)
    assert costs == sorted(set(costs))
    assert sizes == sorted(set(sizes))


def test_surer_takes_more_and_shorter_takes_fewer() -> None:
    def quantity(days: float, confidence: float) -> int:
        routes = [COURIER | {"transit_days": fixed(days)}]
        target = {"line": 0, "healthy": 20, "confidence": confidence}
        [order] = order_size(**ONE_LINE | {"routes": routes, "target": target}).routes
        assert order.quantity is not None
        return order.quantity

    assert quantity(8.0, 0.6) < quantity(8.0, 0.8)
    assert quantity(4.0, 0.8) < quantity(8.0, 0.8)


def test_apart_needs_fewer_where_one_lost_box_must_not_lose_all() -> None:
    """At a high confidence together means guarding against the loss of everything; apart, of a box."""
    packing = {"container": "foam_box", "roots": "damp_wrap", "capacity": 25}
    target = {"line": 0, "healthy": 40, "confidence": 0.9}
    sizes = {}
    for travel in ("together", "apart"):
        routes = [ONE_LINE["routes"][0] | {"travel": travel}]
        [order] = order_size(
            **ONE_LINE | {"packing": packing, "routes": routes, "target": target, "draws": 4096}
        ).routes
        sizes[travel] = order.quantity
    assert sizes["together"] is not None
    assert sizes["apart"] is not None
    assert sizes["apart"] < sizes["together"] - 2


@pytest.mark.parametrize("seed", range(1, 7))
@pytest.mark.parametrize(("healthy", "confidence"), [(40, 0.9), (30, 0.85), (60, 0.8)])
def test_chance_apart_is_at_least_the_one_asked_for(healthy: int, confidence: float, seed: int) -> None:
    fields: Fields = {
        "packing": {"container": "foam_box", "roots": "damp_wrap", "capacity": 25},
        "routes": [ONE_LINE["routes"][0] | {"travel": "apart"}],
        "target": {"line": 0, "healthy": healthy, "confidence": confidence},
        "seed": seed,
    }
    [order] = order_size(**ONE_LINE | fields).routes
    assert order.quantity is not None
    assert order.quantity > 25
    assert order.chance is not None
    assert order.chance >= confidence
    # One more plant changes the chance by little.
    assert order.chance < confidence + 0.03


def test_routes_stand_in_the_order_asked_and_nothing_is_said_of_boxes() -> None:
    answer = order_size(target={"line": 0, "healthy": 10, "confidence": 0.8})
    assert [order.name for order in answer.routes] == ["courier", "air cargo"]
    assert not [assumed for assumed in answer.assumed if assumed.pointer.endswith("/boxes")]


def test_the_answer_leads_with_the_route_on_which_the_batch_costs_least() -> None:
    answer = order_size(**ONE_LINE | {"routes": [CARGO, COURIER], "target": {"healthy": 20, "confidence": 0.8}})
    cargo, courier = answer.routes
    assert cargo.landed_cost is not None
    assert courier.landed_cost is not None
    # Of the amounts as they are shown, halves up.
    cargo_cost, courier_cost = floor(cargo.landed_cost + 0.5), floor(courier.landed_cost + 0.5)
    dearer = cargo_cost - courier_cost
    assert dearer > 0
    start = f"Order {courier.quantity} Aglaonema by courier: at least 20 healthy with 80 % chance, "
    assert answer.lead == (f"{start}{courier_cost:,} GBP landed; by air cargo {cargo.quantity}, {dearer:,} GBP dearer.")


def test_surer_than_a_box_is_from_being_lost_whole_is_answered_with_what_is_possible() -> None:
    """Beyond four plants and a few for each wanted healthy; the smaller order is what its own confidence is told."""
    [sure] = order_size(**ONE_LINE | {"target": {"healthy": 10, "confidence": 0.999}}).routes
    assert sure.possible is not None
    assert sure.quantity is None or sure.quantity > 50
    answer = order_size(**ONE_LINE | {"target": {"healthy": 10, "confidence": sure.possible.confidence}})
    [less] = answer.routes
    assert less.possible is None
    assert (less.quantity, less.chance, less.landed_cost) == (
        sure.possible.quantity,
        sure.possible.chance,
        sure.possible.landed_cost,
    )
    assert less.quantity is not None
    assert less.quantity <= 50
    [only] = order_size(**ONE_LINE | {"target": {"healthy": 10, "confidence": 0.999}}).lead.splitlines()
    assert only.startswith(f"Order {less.quantity} Aglaonema by courier: at least 10 healthy with ")
    assert "; 99.9 % is not to be had, since a box may be lost whole: " in only
