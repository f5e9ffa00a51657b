"""Comparing routes: money by hand, counts that add up, boxes with one fate, the words of the answer."""

import re
from math import sqrt

import numpy as np
import pytest
from scipy import stats

from app.schemas.compare import CompareAnswer, LineOutcome, PlantCounts, RouteOutcome
from tests.app.batches import BATCH, CARGO, COSTS, COURIER, EVERY_DAY, PAPERS, Fields, compare, fixed, line, outcomes

COLD_SNAP = {"GLA": [{"date": f"2027-01-{day}", "min_c": -12, "max_c": -5} for day in range(12, 26)]}
NO_PACK: Fields = {"container": "foam_box", "roots": "damp_wrap", "capacity": 60}


def codes(answer: CompareAnswer) -> set[str]:
    """Return the codes of the cautions of an answer."""
    return {caution.code for caution in answer.cautions}


def amounts(route: RouteOutcome) -> dict[str, float]:
    """Return the items of the landed cost by code."""
    return {item.code: item.amount for item in route.money.items}


class TestMoney:
    """The invented batch costs 18 x 8 + 14 x 12 = 312."""

    def test_items_by_hand(self) -> None:
        courier, cargo = compare().routes
        # Duty 6 % of 312; tax 20 % of 312 and the duty, 330.72.
        both = {"plants": 312.0, "phyto": 35.0, "permit": 25.0, "duty": 18.72, "tax": 66.14}
        assert amounts(courier) == both | {"freight": 135.0, "handling": 28.0}
        assert amounts(cargo) == both | {"freight": 288.0, "collection": 36.0}
        assert courier.money.landed_cost == 619.86
        assert cargo.money.landed_cost == 780.86

    def test_freight_dutiable_and_tax_reclaimed(self) -> None:
        costs = COSTS | {"dutiable": "plants_and_freight", "tax_reclaimed_share": 0.5}
        items = amounts(compare(costs=costs, routes=[COURIER]).routes[0])
        # On 312 + 135 = 447: duty 26.82, tax 20 % of 473.82 = 94.76, of which half comes back.
        assert (items["duty"], items["tax"], items["tax_reclaimed"]) == (26.82, 94.76, -47.38)

    def test_items_add_up_exactly(self) -> None:
        for currency, digits in (("EUR", 2), ("JPY", 0), ("KWD", 3)):
            lines = [line("Hoya", 17, unit_cost=7.337), line("Aglaonema", 13, unit_cost=3.119)]
            for route in compare(lines=lines, currency=currency).routes:
                cents = [round(item.amount * 10**digits) for item in route.money.items]
                assert sum(cents) == round(route.money.landed_cost * 10**digits)
                assert round(route.money.landed_cost, digits) == route.money.landed_cost

    def test_margin_is_linear_in_the_counts(self) -> None:
        # Two weeks on: healthy at full value, damaged and late losses at 0.4 of it; half of the dead are refunded.
        [route] = compare(lines=[line("Aglaonema", 30)], routes=[COURIER]).routes
        plants, money = route.plants, route.money
        late = plants.healthy.mean - plants.healthy_two_weeks.mean
        sales = 31 * (plants.healthy_two_weeks.mean + 0.4 * (plants.damaged.mean + late))
        assert money.recovered_mean == pytest.approx(0.5 * 8 * plants.dead.mean)
        assert money.margin.mean == pytest.approx(sales + money.recovered_mean - money.landed_cost)
        per_plant = (money.landed_cost - money.recovered_mean) / plants.healthy_two_weeks.mean
        assert money.cost_per_healthy_plant == pytest.approx(per_plant)
        assert money.worst_5pct_margin <= money.margin.p05

    def test_margins_of_lines_add_up(self) -> None:
        for route in compare().routes:
            assert sum(own.margin_mean for own in route.lines) == pytest.approx(route.money.margin.mean)


class TestCounts:
    """What becomes of the plants."""

    def test_counts_sum_to_sent(self) -> None:
        for route in compare(lines=[line("Hoya", 20), line("Alocasia", 300)]).routes:
            assert route.plants.sent == 320
            whole: list[PlantCounts | LineOutcome] = [route.plants, *route.lines]
            for part, sent in zip(whole, (320, 20, 300), strict=True):
                assert part.healthy.mean + part.damaged.mean + part.dead.mean == pytest.approx(sent)

    def test_boxes_are_lost_or_saved_as_a_whole(self) -> None:
        lines = [line("Aglaonema", 20), line("Philodendron", 20)]
        drawn = outcomes(lines=lines, routes=[COURIER], draws=2048)
        healthy = drawn.healthy.sum(axis=1)
        chance = float(healthy.mean()) / 40
        assert np.var(healthy) > 3 * stats.binom.var(40, chance)
        # Of the lines of one box together, beyond what their own lines explain.
        assert np.asarray(np.corrcoef(drawn.healthy.T))[0, 1] > 0.3
        assert (drawn.healthy + drawn.damaged + drawn.dead == [20, 20]).all()
        assert (drawn.healthy_two_weeks <= drawn.healthy).all()

    @pytest.mark.parametrize("quantity", [100, 400])
    def test_spread_does_not_hang_on_how_plants_are_drawn(self, quantity: int) -> None:
        """Up to 128 plants are drawn one by one, more as binomials: the same box either way, sd of shares alike."""
        drawn = outcomes(lines=[line("Aglaonema", quantity)], routes=[COURIER], draws=2048)
        few = outcomes(lines=[line("Aglaonema", 128)], routes=[COURIER], draws=2048)
        assert drawn.healthy.mean() / quantity == pytest.approx(few.healthy.mean() / 128, abs=0.01)
        assert drawn.healthy.std() / quantity == pytest.approx(few.healthy.std() / 128, abs=0.02)

    def test_exporter_is_worse_than_grower(self) -> None:
        grower, exporter = (compare(seller_kind=kind, draws=4096).routes[0].plants for kind in ("grower", "exporter"))
        assert exporter.healthy.mean < grower.healthy.mean - 0.5


class TestJourney:
    """Time in transit and weather."""

    @pytest.mark.parametrize(
        ("service", "quantiles"),
        [("courier", (3, 5, 10)), ("courier", (3, 4, 5)), ("air_cargo", (2, 2.5, 4)), ("post", (5, 12, 16))],
    )
    def test_quantiles_in_are_quantiles_out(self, service: str, quantiles: tuple[float, float, float]) -> None:
        asked = dict(zip(("p10", "p50", "p90"), quantiles, strict=True))
        route = COURIER | {"service": service, "transit_days": asked}
        got = compare(routes=[route], draws=4096, **EVERY_DAY).routes[0].transit_days
        assert (got.p10, got.p50, got.p90) == pytest.approx(quantiles, rel=0.05)

    def test_equal_quantiles_are_a_fixed_time_without_delays(self) -> None:
        drawn = outcomes(routes=[COURIER | {"transit_days": fixed(5.5)}], **EVERY_DAY)
        np.testing.assert_allclose(drawn.days, 5.5, rtol=1e-12)

    def test_papers_not_in_hand_add_days_and_cost_margin(self) -> None:
        without = compare(paperwork=PAPERS | {"import_permit": False, "invoice": False}, **EVERY_DAY)
        for there, missing, least in zip(compare(**EVERY_DAY).routes, without.routes, (4.0, 2.5), strict=True):
            # Two papers at the service's usual delay: 2 x 2.5 days by courier, 2 x 1.5 by air cargo, at the median.
            assert missing.transit_days.p50 - there.transit_days.p50 > least
            assert missing.money.margin.mean < there.money.margin.mean
        assert "papers_missing" in codes(without)

    def test_closed_days_lengthen_the_trip(self) -> None:
        def mean_days(*closed: str) -> float:
            routes = [COURIER | {"transit_days": fixed(5.0)}]
            fields: Fields = {"ship_date": "2027-01-15", "closed_dates": list(closed)}
            return compare(routes=routes, **fields).routes[0].transit_days.mean

        # Closed on Friday 15th, 8 h in Semarang, 1 h in Glasgow: opened on Wednesday 20th, or on the next open day.
        assert mean_days() == mean_days("2027-01-19", "2027-01-21") == pytest.approx(5.0)
        assert mean_days("2027-01-20") == pytest.approx(6.0)
        assert mean_days("2027-01-20", "2027-01-21") == pytest.approx(7.0)

    def test_closed_days_are_those_of_the_destination(self) -> None:
        # In Los Angeles the box is closed on Sunday the 10th, 17 h, and would be opened on Friday the 15th; after the
        # weekend comes Martin Luther King Day, the third Monday in January.
        fields: Fields = {"destination": "LAX", "routes": [COURIER | {"transit_days": fixed(5.0)}]}
        for closed, days in (("2027-01-15", 9.0), ("2027-01-16", 5.0)):
            assert compare(**fields, closed_dates=[closed]).routes[0].transit_days.mean == pytest.approx(days)

    def test_friday_lies_over_the_weekend_unless_the_time_is_given(self) -> None:
        monday, friday = compare(**EVERY_DAY), compare(ship_date="2027-01-15", **EVERY_DAY)
        assert friday.routes[0].transit_days.p50 == pytest.approx(monday.routes[0].transit_days.p50 + 1.0, rel=0.01)
        assert "weekend_layover" in codes(friday) - codes(monday)
        given = [COURIER | {"transit_days": fixed(5.0)}]
        assert compare(ship_date="2027-01-15", routes=given).routes[0].transit_days.mean == pytest.approx(5.0)

    def test_forecast_of_a_cold_snap_lowers_the_chance(self) -> None:
        usual, cold = compare(packing=NO_PACK), compare(packing=NO_PACK, forecast=COLD_SNAP)
        for one, other in zip(usual.routes, cold.routes, strict=True):
            assert other.inside_c.p05 < one.inside_c.p05 - 2.0
            assert other.plants.healthy_two_weeks.mean < one.plants.healthy_two_weeks.mean - 1.0

    def test_heat_pack_cautions(self) -> None:
        assert "heat_pack_short" in codes(compare())
        long = BATCH["packing"] | {"heat_pack_hours": 240}
        quick = [CARGO | {"transit_days": fixed(3.0)}]
        assert not {"heat_pack_short", "heat_pack_freezes"} & codes(compare(packing=long, routes=quick))
        frost = {"GLA": [{"date": f"2027-01-{day}", "min_c": -38, "max_c": -30} for day in range(12, 26)]}
        assert "heat_pack_freezes" in codes(compare(packing=long, forecast=frost))
        hot = BATCH["packing"] | {"heat_pack_hours": 40, "heat_packs": 6}
        both = compare(packing=hot)
        assert {"heat_pack_too_warm", "heat_pack_short"} <= codes(both)
        # More of it and none of it cannot both be advised.
        assert len({c.code for c in both.cautions if c.act} & {"heat_pack_too_warm", "heat_pack_short"}) <= 1
        assert not any(re.search(r"\d\.\d+ °C", c.text) for c in both.cautions)

    def test_trip_beyond_the_rules_is_said(self) -> None:
        answer = compare(routes=[COURIER | {"transit_days": {"p10": 10, "p50": 20, "p90": 30}}])
        assert "extrapolation" in codes(answer)


class TestRepeatability:
    """Same seed, same bytes."""

    def test_same_seed_same_bytes(self) -> None:
        assert compare().model_dump_json() == compare().model_dump_json()
        first, other = compare(), compare(seed=2)
        assert other.routes[0].plants.healthy.mean != first.routes[0].plants.healthy.mean
        # Two seeds of 1,024 draws each: within four standard errors of a difference.
        sd = (first.routes[0].plants.healthy.p95 - first.routes[0].plants.healthy.p05) / 2
        assert abs(other.routes[0].plants.healthy.mean - first.routes[0].plants.healthy.mean) < 4 * sd * sqrt(2 / 1024)

    def test_a_route_answers_alike_whatever_stands_beside_it(self) -> None:
        alone, beside = compare(routes=[CARGO]).routes[0], compare(routes=[COURIER, CARGO]).routes[1]
        assert alone.model_copy(update={"chance_best": beside.chance_best}) == beside

    @pytest.mark.parametrize("draws", [256, 5000])
    def test_any_number_of_draws(self, draws: int) -> None:
        answer, usual = compare(draws=draws), compare(draws=4096)
        assert answer.draws == draws
        for route, other in zip(answer.routes, usual.routes, strict=True):
            assert route.plants.healthy.mean == pytest.approx(other.plants.healthy.mean, abs=2.5)
            assert route.transit_days.p50 == pytest.approx(other.transit_days.p50, rel=0.05)
