"""Monthly normals, daily anomalies and forecasts -> outside air in the street of a place.

The daily mean follows the monthly normals, joined by straight lines between mid-months; the day's course is a cosine
between its minimum and maximum, warmest at 15 h. One anomaly a day shifts both; anomalies are AR(1) over days. A
forecast replaces the normal on its days, with an error that grows with lead; later days forget it at the same lag.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from model.quadrature import latin_hypercube
from model.reference import CONSTANTS, Place, Weather

Array = NDArray[np.float64]
SingleArray = NDArray[np.float32]

WARMEST_HOUR = CONSTANTS.warmest_hour
LAPSE_C_PER_M = CONSTANTS.lapse_c_per_m
# Error of a forecast of the daily mean, never more than the climate's own.
FORECAST_SD_FIRST_C = CONSTANTS.forecast_sd_first_c
FORECAST_SD_PER_DAY_C = CONSTANTS.forecast_sd_per_day_c


def month_position(day: date) -> float:
    """Return the place of a day on the circle of mid-months: 0 at mid-January, 11.97 just before the next."""
    start = day.replace(day=1)
    length = ((start + timedelta(days=32)).replace(day=1) - start).days
    return (day.month - 1 + (day.day - 0.5) / length - 0.5) % 12.0


def interpolate_months(monthly: Array, positions: Array) -> Array:
    """Interpolate a (12,) table on the circle of mid-months; shape of `positions`."""
    low = np.floor(positions).astype(int) % 12
    part = positions - np.floor(positions)
    value: Array = monthly[low] * (1.0 - part) + monthly[(low + 1) % 12] * part
    return value


def daily_swing(half_range_c: Array, hour: NDArray[np.floating]) -> Array:
    """Return what the hour of the day adds to the day's mean, °C; hours may count on past midnight."""
    swing: Array = half_range_c * np.cos(2.0 * np.pi * (hour % 24.0 - WARMEST_HOUR) / 24.0)
    return swing


def anomaly_sd(place: Place, weather: Weather, positions: Array) -> Array:
    """Return the standard deviation of the daily mean, °C, a cosine from midwinter to midsummer of the hemisphere."""
    midwinter = 0.0 if place.lat >= 0 else 6.0
    winter = 0.5 * (1.0 + np.cos(2.0 * np.pi * (positions - midwinter) / 12.0))
    sd: Array = weather.sd_midsummer_c + (weather.sd_midwinter_c - weather.sd_midsummer_c) * winter
    return sd


@dataclass(frozen=True, slots=True)
class Forecast:
    """A day's forecast minimum and maximum in the street, °C."""

    min_c: float
    max_c: float


@dataclass(frozen=True, slots=True, eq=False)
class PlaceWeather:
    """Outside air of one place over consecutive local days.

    Attributes
    ----------
    first_day : date
        Local date of index 0.
    mean_c, half_range_c : (days,)
        Daily mean and half the difference of maximum and minimum, without anomalies.
    anomaly_c : (days, draws)
        What each draw adds to the whole day, in single precision.
    """

    first_day: date
    mean_c: Array
    half_range_c: Array
    anomaly_c: SingleArray

    def hourly(self, start: datetime, hours: int) -> tuple[Array, Array, NDArray[np.intp]]:
        """Return daily mean (hours,), swing about it (hours,) and day index (hours,) from local naive time `start`.

        Hours are taken at their middle. Days past the last one repeat it.
        """
        offset = (start - datetime.combine(self.first_day, datetime.min.time())).total_seconds() / 3600.0
        at = offset + np.arange(hours) + 0.5
        day = np.clip((at // 24.0).astype(np.intp), 0, len(self.mean_c) - 1)
        return self.mean_c[day], daily_swing(self.half_range_c[day], at), day


def place_weather(
    place: Place,
    weather: Weather,
    first_day: date,
    n_days: int,
    *,
    draws: int,
    rng: np.random.Generator,
    forecast: Mapping[date, Forecast] | None = None,
) -> PlaceWeather:
    """Draw the outside air of a place.

    Parameters
    ----------
    place, weather
        Normals of the place; variability of its regime.
    first_day : date
        Local date of the first day.
    n_days, draws : int
    rng : numpy.random.Generator
        The same generator state gives the same weather whatever the forecast (common random numbers).
    forecast : mapping of local date to Forecast, optional
        Lead is counted from its first date.
    """
    days = [first_day + timedelta(days=i) for i in range(n_days)]
    positions = np.array([month_position(day) for day in days])
    low, high = interpolate_months(place.tmin_c, positions), interpolate_months(place.tmax_c, positions)
    mean, half = 0.5 * (low + high), 0.5 * (high - low)
    sd = anomaly_sd(place, weather, positions)
    noise = _stratified_normals(n_days, draws, rng=rng)
    known = {day: value for day, value in (forecast or {}).items() if first_day <= day}
    first_forecast = min(forecast) if forecast else first_day
    keep, renew = weather.lag1, float(np.sqrt(1.0 - weather.lag1**2))
    anomaly = np.empty((n_days, draws), dtype=np.float32)
    # `state` is the standardised anomaly carried from day to day; on forecast days the forecast's own error.
    state = noise[0]
    error = noise[0]
    for i, day in enumerate(days):
        if i:
            state = keep * state + renew * noise[i]
            error = keep * error + renew * noise[i]
        if day in known:
            lead = (day - first_forecast).days
            error_sd = min(sd[i], FORECAST_SD_FIRST_C + FORECAST_SD_PER_DAY_C * lead)
            shift = 0.5 * (known[day].min_c + known[day].max_c) - mean[i]
            half[i] = 0.5 * (known[day].max_c - known[day].min_c)
            anomaly[i] = float(shift) + float(error_sd) * error
            state = anomaly[i] / np.float32(sd[i])
        else:
            np.multiply(state, np.float32(sd[i]), out=anomaly[i])
    return PlaceWeather(first_day=first_day, mean_c=mean, half_range_c=half, anomaly_c=anomaly)


def _stratified_normals(n_days: int, draws: int, *, rng: np.random.Generator) -> SingleArray:
    """Return standard normals, (days, draws), of which each day has one in each of as many equally likely parts."""
    scores = ndtri((np.arange(draws) + rng.random(draws)) / draws).astype(np.float32)
    return latin_hypercube(scores, n_days, rng=rng)
