"""Weather: monthly normals, the day's course, anomalies against published spreads, and forecasts."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from model.exposure.climate import Forecast, PlaceWeather, anomaly_sd, interpolate_months, month_position, place_weather
from model.reference.row_types import Place
from model.reference.tables import load_reference

Array = NDArray[np.float64]

REFERENCE = load_reference()
DUBLIN, SINGAPORE, SYDNEY = (REFERENCE.places[code] for code in ("DUB", "SIN", "SYD"))
DRAWS = 4000
# Standard deviation of the daily mean about its monthly normal, mid-winter and mid-summer, °C: daily records 1995-2013
# of 322 cities.
SPREADS_C = {
    "equatorial": (1.1, 1.1),
    "savanna": (1.6, 1.3),
    "tropical_highland": (1.3, 1.2),
    "hot_dry": (2.5, 1.9),
    "mediterranean": (3.1, 2.4),
    "oceanic": (4.4, 3.0),
    "humid_subtropical": (5.5, 2.3),
    "cold_dry": (4.9, 2.8),
    "cold_continental": (6.4, 3.1),
}
# Four standard errors of a standard deviation from 4,000 draws, as a share of it.
SD_BOUND = 4 / np.sqrt(2 * DRAWS)


def drawn(
    place: Place, first: date, days: int, *, seed: int = 1, forecast: dict[date, Forecast] | None = None
) -> PlaceWeather:
    weather = REFERENCE.weather[place.regime]
    rng = np.random.default_rng(seed)
    return place_weather(place, weather, first, days, draws=DRAWS, rng=rng, forecast=forecast)


def year_positions(year: int) -> tuple[Array, NDArray[np.intp]]:
    days = [date(year, 1, 1) + timedelta(days=i) for i in range(366 if year % 4 == 0 else 365)]
    return np.array([month_position(day) for day in days]), np.array([day.month for day in days])


def test_days_run_evenly_round_the_circle_of_mid_months() -> None:
    positions, _ = year_positions(2028)
    steps = np.diff(positions) % 12
    assert steps.min() > 1 / 31.1
    assert steps.max() < 1 / 28.9
    assert month_position(date(2027, 1, 16)) == pytest.approx(0.0, abs=1e-9)  # 31 days: the 16th is the middle
    assert month_position(date(2027, 6, 15)) + month_position(date(2027, 6, 16)) == pytest.approx(10.0)


@given(monthly=st.lists(st.floats(-30, 45), min_size=12, max_size=12))
def test_interpolation_passes_the_mid_months_and_closes_the_year(monthly: list[float]) -> None:
    values = np.array(monthly)
    np.testing.assert_allclose(interpolate_months(values, np.arange(12.0)), values)
    assert interpolate_months(values, np.array([11.5]))[0] == pytest.approx(0.5 * (values[11] + values[0]))


def test_interpolation_keeps_the_year_and_flattens_no_month_by_more_than_it_must() -> None:
    """Straight lines between mid-months change a month's mean by an eighth of the second difference: below 0.9 °C."""
    positions, months = year_positions(2027)
    for place in REFERENCE.places.values():
        for normal in (place.tmin_c, place.tmax_c):
            daily = interpolate_months(normal, positions)
            means = np.array([daily[months == month].mean() for month in range(1, 13)])
            eighth = (np.roll(normal, 1) + np.roll(normal, -1) - 2 * normal) / 8
            np.testing.assert_allclose(means - normal, eighth, atol=0.1)
            assert np.abs(means - normal).max() < 0.9, place.iata
            assert abs(means.mean() - normal.mean()) < 0.05, place.iata


def test_the_day_runs_between_the_normal_minimum_and_maximum() -> None:
    """16 January is mid-month: minimum at 3 h, maximum at 15 h, local time, hours taken at their middle."""
    weather = drawn(DUBLIN, date(2027, 1, 16), 1)
    mean, swing, day = weather.hourly(datetime(2027, 1, 15, 23, 30), 25)
    course = mean + swing
    assert course[1:].min() == pytest.approx(DUBLIN.tmin_c[0])
    assert course[1:].max() == pytest.approx(DUBLIN.tmax_c[0])
    assert (int(course[1:].argmin()) + 1, int(course[1:].argmax()) + 1) == (3, 15)
    assert set(day.tolist()) == {0}


def test_hours_belong_to_their_local_day_and_the_last_day_repeats() -> None:
    weather = drawn(DUBLIN, date(2027, 1, 10), 3)
    day = weather.hourly(datetime(2027, 1, 10, 20), 100)[2]
    np.testing.assert_array_equal(day, np.minimum((20 + np.arange(100)) // 24, 2))


def test_winter_is_in_july_south_of_the_equator() -> None:
    january, july = date(2027, 1, 16), date(2027, 7, 16)
    assert drawn(SYDNEY, january, 1).mean_c[0] > drawn(SYDNEY, july, 1).mean_c[0] + 5
    assert drawn(DUBLIN, january, 1).mean_c[0] < drawn(DUBLIN, july, 1).mean_c[0] - 5
    weather, positions = REFERENCE.weather["oceanic"], np.array([0.0, 6.0])
    north, south = (anomaly_sd(place, weather, positions) for place in (DUBLIN, replace(DUBLIN, lat=-DUBLIN.lat)))
    np.testing.assert_allclose(north, (4.4, 3.0))
    np.testing.assert_allclose(south, (3.0, 4.4))


@pytest.mark.parametrize("regime", SPREADS_C)
def test_drawn_anomalies_spread_as_published(regime: str) -> None:
    place = replace(DUBLIN, regime=regime)
    for day, sd_c in zip((date(2027, 1, 16), date(2027, 7, 16)), SPREADS_C[regime], strict=True):
        anomaly = drawn(place, day - timedelta(days=6), 7).anomaly_c
        assert anomaly[6].std() == pytest.approx(sd_c, rel=SD_BOUND)
        assert abs(anomaly[6].mean()) < 4 * sd_c / np.sqrt(DRAWS)


@pytest.mark.parametrize(("place", "lag1"), [(SINGAPORE, 0.53), (DUBLIN, 0.77)], ids=["equatorial", "oceanic"])
def test_anomalies_last_as_published(place: Place, lag1: float) -> None:
    """Lag-1 correlation of daily records 1995-2013: 0.53 equatorial, 0.77 oceanic; lag k is its k-th power (AR(1))."""
    anomaly = drawn(place, date(2027, 3, 1), 40).anomaly_c
    for lag in (1, 3):
        correlation = np.mean([np.corrcoef(anomaly[i], anomaly[i + lag])[0, 1] for i in range(40 - lag)])
        assert correlation == pytest.approx(lag1**lag, abs=4 / np.sqrt(DRAWS))


def test_every_regime_is_between_the_published_ends() -> None:
    assert all(0.53 <= row.lag1 <= 0.77 for row in REFERENCE.weather.values())


def test_one_anomaly_shifts_the_whole_day() -> None:
    weather = drawn(DUBLIN, date(2027, 1, 10), 5)
    assert weather.anomaly_c.shape == (5, DRAWS)
    assert weather.mean_c.shape == weather.half_range_c.shape == (5,)


FIRST = date(2027, 1, 10)
LEADS = 6


def cold_spell(days: range) -> dict[date, Forecast]:
    """Forecast of -8 to 0 °C: a mean of -4 °C, far below Dublin's normal."""
    return {FIRST + timedelta(days=day): Forecast(-8.0, 0.0) for day in days}


def test_weather_follows_the_forecast_and_trusts_it_less_from_day_to_day() -> None:
    """Error of a forecast: 1.2 °C on its first day, 0.35 °C more each day, at most the climate's (from memory)."""
    weather = drawn(DUBLIN, FIRST, 20, forecast=cold_spell(range(12)))
    sd = anomaly_sd(DUBLIN, REFERENCE.weather["oceanic"], np.array([0.0]))[0]
    for lead in range(12):
        day = weather.mean_c[lead] + weather.anomaly_c[lead]
        assert day.mean() == pytest.approx(-4.0, abs=4 * sd / np.sqrt(DRAWS))
        assert day.std() == pytest.approx(min(1.2 + 0.35 * lead, sd), rel=SD_BOUND)
        assert 2 * weather.half_range_c[lead] == pytest.approx(8.0)
    assert weather.half_range_c[12] == pytest.approx(drawn(DUBLIN, FIRST, 20).half_range_c[12])


def test_lead_counts_from_the_first_date_of_the_forecast() -> None:
    """A forecast that starts three days before the first day: its fourth day has a lead of 3, an error of 2.25 °C."""
    weather = drawn(DUBLIN, FIRST, 3, forecast=cold_spell(range(-3, 3)))
    assert weather.anomaly_c[0].std() == pytest.approx(1.2 + 0.35 * 3, rel=SD_BOUND)


def test_days_after_the_forecast_forget_it_at_the_lag() -> None:
    weather = drawn(DUBLIN, FIRST, 20, forecast=cold_spell(range(LEADS)))
    anomaly, sd = weather.anomaly_c, 4.4
    last = float(anomaly[LEADS - 1].mean())
    for after in range(1, 10):
        expected = last * 0.77**after
        assert anomaly[LEADS - 1 + after].mean() == pytest.approx(expected, abs=0.05 * abs(last) + 4 * sd / DRAWS**0.5)
    spreads = anomaly[LEADS - 1 :].std(axis=1)
    assert spreads[-1] == pytest.approx(sd, rel=0.08)
    assert spreads[0] < spreads[1] < spreads[3]


def test_the_same_generator_gives_the_same_weather_before_the_forecast() -> None:
    plain = drawn(DUBLIN, FIRST, 10, seed=5)
    told = drawn(DUBLIN, FIRST, 10, seed=5, forecast=cold_spell(range(6, 8)))
    np.testing.assert_array_equal(told.anomaly_c[:6], plain.anomaly_c[:6])
    np.testing.assert_array_equal(told.mean_c, plain.mean_c)
    # The draws keep their order under the forecast: what differs is not the noise.
    assert np.corrcoef(told.anomaly_c[6], plain.anomaly_c[6])[0, 1] > 0.95
    assert not np.allclose(told.anomaly_c[8], plain.anomaly_c[8])
    again = drawn(DUBLIN, FIRST, 10, seed=5)
    np.testing.assert_array_equal(again.anomaly_c, plain.anomaly_c)
