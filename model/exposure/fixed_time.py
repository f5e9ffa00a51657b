"""Journeys of one lane that take a given time, in all draws at once and in single precision.

Where the time is given every draw changes legs at the same hour, so the air in the box is one course of hours plus the
days' anomalies at each place, each weighted by what the box lets through of it: a product of two small matrices.
`journey.expose` is the plain form, which this agrees with to 1e-5. Only a heat pack that freezes is not linear; then
nothing is returned, and the plain form has to do it.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from model.exposure.box import PACK_FREEZES_C, Box, mean_weight
from model.exposure.constant import ColdDraws
from model.exposure.damage import FREEZE_C, HEAT_ONSET_C, REFERENCE_C, extreme_rate
from model.exposure.inside import HOURS_AT_ONCE, hour_steps
from model.exposure.journey import StreetAir, leg_air, leg_ends
from model.reference import Leg

Array = NDArray[np.float64]
SingleArray = NDArray[np.float32]


class FixedTimeJourneys:
    """The air in one kind of box on the way along one lane, from one moment on."""

    def __init__(self, legs: Sequence[Leg], streets: dict[str, StreetAir], box: Box) -> None:
        """Take the air of at least as many hours as the longest journey, rounded up."""
        self._legs, self._box = legs, box
        hours = len(next(iter(streets.values())).mean_c)
        aired = [leg_air(leg, streets[leg.place], hours) for leg in legs]
        self._base_c = np.stack([base for base, _ in aired], axis=1)
        self._weight = np.array([weight for _, weight in aired])
        self._place_of_leg = np.array([list(streets).index(leg.place) for leg in legs])
        self._warming, cooling = box.rises_c(hours)
        self._rise = self._warming + cooling
        self._day = np.stack([air.day for air in streets.values()])
        anomalies = [air.anomaly_c.astype(np.float32) for air in streets.values()]
        self._first_row = np.cumsum([1, *(len(anomaly) for anomaly in anomalies[:-1])])
        self._anomaly_c = np.concatenate([np.ones((1, anomalies[0].shape[1]), dtype=np.float32), *anomalies])

    def inside(self, total_days: float) -> SingleArray | None:
        """Return the mean inside of each hour until the box is opened, (hours, draws); None if a heat pack freezes."""
        ends = leg_ends(self._legs, np.array([total_days]), added_days={})[:, 0].astype(np.float32)
        n = max(int(np.ceil(ends[-1])), 1)
        hour = np.arange(n)
        leg = np.searchsorted(ends[:-1], hour.astype(np.float32) + np.float32(0.5), side="right")
        place = self._place_of_leg[leg]
        rows = self._first_row[place] + self._day[place, hour]
        changes = np.flatnonzero(rows[1:] != rows[:-1]) + 1
        # Column 0 is the course without anomalies, each other the anomaly of a day at a place.
        outside = np.zeros((n, 2 + len(changes)))
        outside[:, 0] = self._base_c[hour, leg]
        outside[hour, 1 + np.searchsorted(changes, hour, side="right")] = self._weight[leg]
        start = outside[0].copy()
        outside[:, 0] += self._rise[:n]
        anomalies = self._anomaly_c.take(np.concatenate([[0], rows[:1], rows[changes]]), axis=0)
        means, starts = _followed(outside, start, self._box)
        warmed = int(np.count_nonzero(self._warming[:n]))
        if warmed and _product(starts[:warmed], anomalies).min() <= PACK_FREEZES_C:
            return None
        return _product(means, anomalies)


def damage_of_hours(
    inside_c: SingleArray, duration_h: float, log_q1: SingleArray, cold: ColdDraws
) -> tuple[SingleArray, ...]:
    """Return equivalent days and chill dose, (draws,) each, of hours of air inside.

    Parameters
    ----------
    inside_c : (hours, draws) or (hours, 1)
    duration_h : float
        How many hours count, the last of them perhaps in part.
    log_q1 : (draws,)
        From `constant.log_factor_per_c`.
    cold : ColdDraws
    """
    counted = np.minimum(duration_h - np.arange(len(inside_c)), 1.0).astype(np.float32)
    # Rates are those relative to 0 °C until the end, which spares a subtraction an hour.
    rate = inside_c * log_q1
    np.exp(rate, out=rate)
    warm = counted @ rate
    coldest = inside_c.min(axis=1)
    below = np.flatnonzero(coldest < cold.warmest_threshold_c)
    dose = np.zeros_like(warm)
    if len(below):
        hours = slice(int(below[0]), int(below[-1]) + 1)
        degrees = np.subtract(cold.threshold_c, inside_c[hours])
        np.maximum(degrees, 0.0, out=degrees)
        dose = cold.chill_per_day_c * (counted[hours] @ degrees)
        withheld = np.subtract(np.exp(cold.threshold_c * log_q1), rate[hours])
        np.maximum(withheld, 0.0, out=withheld)
        warm += counted[hours] @ withheld
    days = warm * np.exp(np.float32(-REFERENCE_C) * log_q1) + dose
    if coldest.min() < FREEZE_C or inside_c.max() > HEAT_ONSET_C:
        days += counted @ np.broadcast_to(extreme_rate(inside_c), rate.shape)
    return days / np.float32(24.0), dose / np.float32(24.0)


def _product(hours: Array, anomalies: SingleArray) -> SingleArray:
    courses, product = hours.astype(np.float32), np.empty((len(hours), anomalies.shape[1]), dtype=np.float32)
    for start in range(0, len(hours), HOURS_AT_ONCE):
        rows = slice(start, start + HOURS_AT_ONCE)
        np.matmul(courses[rows], anomalies, out=product[rows])
    return product


def _followed(steady_c: Array, start_c: Array, box: Box) -> tuple[Array, Array]:
    """Return the mean inside of each hour and the air at its start, (hours, columns) each; exact.

    `steady_c`, (hours, columns), is what the air is drawn to in each hour, `start_c` the air when the box is closed.
    """
    weight = mean_weight(box.time_constant_h)
    taken, kept = hour_steps(box.decay())
    starts = np.empty_like(steady_c)
    now = start_c
    for start in range(0, len(steady_c), HOURS_AT_ONCE):
        block = steady_c[start : start + HOURS_AT_ONCE]
        n = len(block)
        reached = taken[: n + 1, :n] @ block + kept[: n + 1, None] * now
        starts[start : start + n], now = reached[:n], reached[n]
    return steady_c + weight * (starts - steady_c), starts
