"""Lanes: hubs, usual times, local clocks, and weather that all routes of a request share."""

from datetime import UTC, date, datetime

import numpy as np
import pytest

from app.batch.lanes import Lane, WeatherDraws, delay_of
from model.exposure.climate import Forecast
from model.reference.tables import load_reference
from model.transit.delay import HoldDelay, MissedFlights
from model.transit.transit import TransitQuantiles

REFERENCE = load_reference()
MONDAY = date(2027, 1, 11)


def lane(origin: str, destination: str, service: str = "courier") -> Lane:
    return Lane.between(REFERENCE.places[origin], REFERENCE.places[destination], service, REFERENCE)


def draws_of(seed: int = 3, forecast: dict[str, dict[date, Forecast]] | None = None) -> WeatherDraws:
    return WeatherDraws(REFERENCE, MONDAY, 20, draws=64, seed=seed, forecast=forecast)


# The way with the least detour, read off a globe, among Hong Kong, Dubai, Leipzig, Singapore, Cincinnati and Anchorage.
@pytest.mark.parametrize(
    ("origin", "destination", "hub"),
    [("BKK", "DUB", "LEJ"), ("UIO", "ORD", "CVG"), ("NRT", "LAX", "ANC"), ("CGK", "SYD", "SIN"), ("CMB", "JNB", "DXB")],
)
def test_courier_goes_by_the_hub_with_the_least_detour(origin: str, destination: str, hub: str) -> None:
    assert lane(origin, destination).places["hub"].iata == hub


def test_a_hub_at_either_end_is_no_hub() -> None:
    """Singapore and Hong Kong are hubs themselves: from there the box goes by another one."""
    assert lane("SIN", "DUB").places["hub"].iata != "SIN"
    assert lane("SIN", "HKG").places["hub"].iata not in {"SIN", "HKG"}


def test_air_cargo_flies_straight_to_the_destination() -> None:
    assert lane("BKK", "DUB", "air_cargo").places["hub"].iata == "DUB"
    assert {leg.place for leg in lane("BKK", "DUB", "air_cargo").legs} == {"origin", "destination"}


def test_usual_times_between_continents_are_those_of_the_trade() -> None:
    """Common practice, South-East Asia to another continent: courier 3/5/10 days, air cargo 2/2.5/4."""
    assert lane("BKK", "DUB").usual_quantiles() == TransitQuantiles(3, 5, 10)
    assert lane("BKK", "DUB", "air_cargo").usual_quantiles() == TransitQuantiles(2, 2.5, 4)


def test_a_short_lane_takes_less_but_at_least_half() -> None:
    """London to Paris, some 350 km: 0.5 + 0.5 x 350 / 6000 of the usual time."""
    short = lane("LHR", "CDG").usual_quantiles()
    assert short.p50 == pytest.approx(5 * (0.5 + 0.5 * 348 / 6000), rel=0.005)
    assert lane("LHR", "LHR").usual_quantiles().p50 == pytest.approx(2.5)
    assert short.p50 < lane("LHR", "CAI").usual_quantiles().p50 < 5


@pytest.mark.parametrize(("origin", "utc"), [("BKK", "01:00"), ("UIO", "13:00"), ("SYD", "21:00"), ("DEL", "02:30")])
def test_the_box_is_closed_at_eight_local_time(origin: str, utc: str) -> None:
    """UTC offsets of January: +7, -5, +11 (summer time), +5:30."""
    closed = lane(origin, "DUB").closing(MONDAY)
    assert closed.strftime("%H:%M") == utc
    assert lane(origin, "DUB").local(closed, "origin") == datetime(2027, 1, 11, 8)
    assert closed.tzinfo is UTC


@pytest.mark.parametrize("service", sorted(REFERENCE.services))
def test_solved_times_give_back_the_services_quantiles(service: str) -> None:
    """p10, p50 and p90 of the whole time, delays included, within 5 %."""
    here = lane("BKK", "DUB", service)
    usual = here.usual_quantiles()
    transit = here.solve(usual).transit
    for chance, days in ((0.1, usual.p10), (0.5, usual.p50), (0.9, usual.p90)):
        assert float(transit.cdf(0.95 * days)) <= chance <= float(transit.cdf(1.05 * days))


def test_delays_are_of_the_kind_of_their_service() -> None:
    """Air cargo is late in whole flights, the others by holds."""
    assert isinstance(delay_of(REFERENCE.services["air_cargo"]), MissedFlights)
    assert isinstance(delay_of(REFERENCE.services["courier"]), HoldDelay)
    assert isinstance(delay_of(REFERENCE.services["post"]), HoldDelay)


def test_weather_of_a_place_does_not_depend_on_who_asks_first() -> None:
    """Common random numbers: routes asked in another order, or alone, meet the same weather."""
    bangkok, dublin = REFERENCE.places["BKK"], REFERENCE.places["DUB"]
    first, second = draws_of(), draws_of()
    one = [first.at(bangkok), first.at(dublin)]
    other = [second.at(dublin), second.at(bangkok)][::-1]
    for a, b in zip(one, other, strict=True):
        np.testing.assert_array_equal(a.anomaly_c, b.anomaly_c)
    assert first.at(bangkok) is one[0]
    assert not np.array_equal(draws_of(seed=4).at(dublin).anomaly_c, one[1].anomaly_c)
    correlation = np.corrcoef(one[0].anomaly_c.ravel(), one[1].anomaly_c.ravel())[0, 1]
    assert abs(correlation) < 0.15  # 22 x 64 draws of two places, four standard errors


def test_a_forecast_reaches_its_place_alone() -> None:
    told = draws_of(forecast={"DUB": {MONDAY: Forecast(-9.0, -3.0)}})
    dublin = told.at(REFERENCE.places["DUB"])
    assert (dublin.mean_c[1] + dublin.anomaly_c[1]).mean() == pytest.approx(-6.0, abs=0.6)
    np.testing.assert_array_equal(
        told.at(REFERENCE.places["BKK"]).anomaly_c, draws_of().at(REFERENCE.places["BKK"]).anomaly_c
    )


@pytest.mark.parametrize(("origin", "destination"), [("BKK", "DUB"), ("SYD", "LAX"), ("UIO", "AKL")])
def test_street_air_follows_the_local_clock_at_both_ends(origin: str, destination: str) -> None:
    """Warmest at 15 h local time, wherever the box is and whatever the date there."""
    here, weather = lane(origin, destination), draws_of()
    closed = here.closing(MONDAY)
    air = weather.streets(here, closed, 48)
    assert set(air) == {"origin", "hub", "destination"}
    for role, street in air.items():
        local = here.local(closed, role)
        hour = (local.hour + local.minute / 60 + np.arange(24) + 0.5) % 24
        assert abs(hour[street.swing_c[:24].argmax()] - 15) <= 1, role
        days_on = (local.date() - MONDAY).days
        assert street.day[0] == 1 + days_on, role
        assert street.mean_c.shape == (48,)
        assert street.anomaly_c.shape == (22, 64)
