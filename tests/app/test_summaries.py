"""What answers say of draws: equally likely shipments, days of a journey, the rules of thumb beside the own record."""

import numpy as np
import pytest

from app.comparing.compare import answer_compare
from app.comparing.summaries import strip
from tests.app.batches import COURIER, compare, compare_request, fixed, hold
from tests.app.fits import fitted_engine


def test_strip_is_twenty_equal_parts() -> None:
    # Each of 0 to 19 in one draw of 20; half of the draws 0, half 10.
    assert strip(np.random.default_rng(1).permutation(20)) == list(range(20))
    assert strip(np.array([10, 0] * 50)) == [0] * 10 + [10] * 10
    assert strip(np.full(7, 3)) == [3] * 20


def test_strip_of_an_answer_agrees_with_its_quantiles_and_mean() -> None:
    for route in compare(draws=4096).routes:
        plants = route.plants
        assert len(plants.healthy_strip) == 20
        assert plants.healthy_strip == sorted(plants.healthy_strip)
        # The 1st of 20 lies at 0.025, the 2nd at 0.075: p05 is between; so are p50 and p95.
        assert plants.healthy_strip[0] <= plants.healthy.p05 <= plants.healthy_strip[1]
        assert plants.healthy_strip[9] <= plants.healthy.p50 <= plants.healthy_strip[10]
        assert plants.healthy_strip[18] <= plants.healthy.p95 <= plants.healthy_strip[19]
        assert np.mean(plants.healthy_strip) == pytest.approx(plants.healthy.mean, abs=0.5)


def test_days_of_the_journey_end_with_it() -> None:
    # Closed for exactly 3 days: three days, all journeys under way in each.
    (route,) = compare(routes=[COURIER | {"transit_days": fixed(3.0)}]).routes
    assert [(day.day, day.under_way) for day in route.inside_by_day] == [(1, 1.0), (2, 1.0), (3, 1.0)]


def test_first_day_is_warm_and_the_last_cold_from_semarang_to_glasgow_in_january() -> None:
    # Normals of January: 24.3 to 30.0 °C in Semarang, 1.9 to 7.2 °C in Glasgow; no heat pack.
    # The last leg is sheltered.
    packing = {"container": "carton", "roots": "damp_wrap", "capacity": 60}
    (route,) = compare(packing=packing, routes=[COURIER | {"transit_days": fixed(6.0)}]).routes
    first, last = route.inside_by_day[0], route.inside_by_day[-1]
    assert 24.3 < first.p50 < 30.0
    assert last.p05 < 10 < first.p05


def test_rules_of_thumb_stand_beside_a_fitted_model_only_where_asked() -> None:
    engine = fitted_engine()
    request = compare_request(rules_beside=True)
    fitted = answer_compare(request, engine)
    by_rules = compare(rules_beside=True, draws=1024)
    for route, rule in zip(fitted.routes, by_rules.routes, strict=True):
        assert rule.rules_only is None  # it is the answer itself
        assert route.rules_only is not None
        assert route.rules_only.healthy == rule.plants.healthy
        assert route.rules_only.healthy_strip == rule.plants.healthy_strip
        assert route.rules_only.margin == rule.money.margin
        assert route.rules_only.healthy != route.plants.healthy
    assert all(route.rules_only is None for route in answer_compare(compare_request(), engine).routes)


class TestWeatherOfAHold:
    def test_normals_at_both_ends_and_the_hub(self) -> None:
        answer = hold(routes=[COURIER | {"transit_days": fixed(4.0)}], earliest="2027-01-16", latest="2027-01-16")
        origin, hub, destination = answer.dates[0].weather
        assert [w.role for w in (origin, hub, destination)] == ["origin", "hub", "destination"]
        # 16 January is the middle of the month: the monthly normals of the table themselves.
        assert (origin.place, origin.date.isoformat(), origin.source) == ("SRG", "2027-01-16", "normals")
        assert (origin.min_c, origin.max_c) == pytest.approx((24.3, 30.0), abs=0.05)
        assert destination.place == "GLA"
        assert destination.date.isoformat() > "2027-01-19"
        assert hub.place not in ("SRG", "GLA")

    def test_a_forecast_takes_the_place_of_normals_on_its_days(self) -> None:
        day = {"date": "2027-01-12", "min_c": -9.0, "max_c": -1.0}
        answer = hold(forecast={"SRG": [day]}, latest="2027-01-13")
        origins = {entry.ship_date.day: entry.weather[0] for entry in answer.dates}
        assert (origins[12].min_c, origins[12].max_c, origins[12].source) == (-9.0, -1.0, "forecast")
        assert [origins[11].source, origins[13].source] == ["normals", "normals"]
