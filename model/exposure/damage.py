"""The thermal clock: temperature -> damage rate -> equivalent days at 20 °C; the one home of the rate.

    rate = Q10^((max(T, threshold) - 20) / 10) + chill rate x max(threshold - T, 0) + heat + freezing

Damage adds up over time (cumulative exposure, Nelson 1980; heat and cold damage of plants add up: Faber, Orsted &
Ehlers 2024, J. Exp. Bot. 75:3467). Below the genus's chilling threshold the warm term stays at its value there and
chilling is added, so for every draw the rate falls down to the threshold and rises below it.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from model.reference import CONSTANTS

Array = NDArray[np.float64]
SingleArray = NDArray[np.float32]
Indices = NDArray[np.intp]
Either = TypeVar("Either", Array, SingleArray)

REFERENCE_C = CONSTANTS.reference_c
Q10_STEP_C = 10.0
HEAT_ONSET_C = CONSTANTS.heat_onset_c
HEAT_Z_C = CONSTANTS.heat_z_c
HEAT_RATE_PER_DAY = CONSTANTS.heat_rate_per_day
FREEZE_C = CONSTANTS.freeze_c
FREEZE_RATE_PER_DAY_C = CONSTANTS.freeze_rate_per_day_c
LOG_TEN = float(np.log(10.0))


@dataclass(frozen=True, slots=True)
class ClockDraws:
    """Draws of the clock's parameters for one or more genera.

    Attributes
    ----------
    log_q10 : (draws,)
        Log of the factor by which 10 °C speed the clock; positive.
    threshold_c : (genera, draws)
        Chilling threshold.
    chill_per_day_c : (genera, draws)
        Added rate per °C below the threshold.

    Other shapes are broadcast: a table of exposures has lines and nodes instead.
    """

    log_q10: Array
    threshold_c: Array
    chill_per_day_c: Array


def log_warm_rate(temperature_c: Either, log_factor: Either, *, step_c: float = Q10_STEP_C) -> Either:
    """Return the log of the rate above the chilling threshold, 0 at 20 °C; shapes broadcast.

    It grows by a log factor for each step: by log Q10 for 10 °C, or by a tenth of it for 1 °C.
    """
    return log_factor * ((temperature_c - REFERENCE_C) / step_c)


def degrees_below(temperature_c: Either, threshold_c: Either) -> Either:
    """Return how far temperatures lie below a chilling threshold, °C; 0 above it."""
    degrees: Either = np.maximum(threshold_c - temperature_c, 0.0)
    return degrees


def extreme_rate(temperature_c: Either) -> Either:
    """Return the rate added by heat above 38 °C and by freezing, in equivalent days a day; same shape as given.

    Heat: 0.1 x (10^((T - 38)/4) - 1) above 38 °C; freezing: 720 x (-1 - T) below -1 °C.
    """
    over = np.maximum(temperature_c - HEAT_ONSET_C, 0.0)
    under = np.maximum(FREEZE_C - temperature_c, 0.0)
    rate: Either = HEAT_RATE_PER_DAY * np.expm1(over * (LOG_TEN / HEAT_Z_C)) + FREEZE_RATE_PER_DAY_C * under
    return rate


def damage_rate(temperature_c: Array, clock: ClockDraws) -> Array:
    """Return the damage rate in equivalent days a day at constant temperatures.

    Parameters
    ----------
    temperature_c : broadcastable to (genera, draws)
    clock : ClockDraws
    """
    warm = np.exp(log_warm_rate(np.maximum(temperature_c, clock.threshold_c), clock.log_q10))
    rate: Array = warm + chill_rate(temperature_c, clock)
    return rate + extreme_rate(temperature_c)


def chill_rate(temperature_c: Array, clock: ClockDraws) -> Array:
    """Return the chilling part of the damage rate alone; shape (genera, draws)."""
    rate: Array = clock.chill_per_day_c * degrees_below(temperature_c, clock.threshold_c)
    return rate


class ExposureClock:
    """Adds up equivalent days over blocks of hours.

    Below its threshold a genus's warm term stays at its value there, and Q10 > 1: so the warm sum over hours is that of
    max(Q10^((T - 20)/10), Q10^((threshold - 20)/10)). The hours of each draw are sorted by temperature: those below a
    threshold are the first so many, and sums over them are differences of running sums that all genera share. A genus
    costs one comparison an hour. Temperatures and rates are in single precision, sums over thresholds in double: they
    err by less than 1e-5 of themselves.
    """

    def __init__(self, clock: ClockDraws) -> None:
        genera, draws = clock.threshold_c.shape
        self._log_q1: SingleArray = (clock.log_q10 / Q10_STEP_C).astype(np.float32)
        self._chill: SingleArray = clock.chill_per_day_c.astype(np.float32)
        self._threshold: SingleArray = clock.threshold_c.astype(np.float32)
        self._warmest_threshold = self._threshold.max(axis=0)
        # Warm rates are those relative to 0 °C until the end, which spares a subtraction an hour.
        self._at_threshold: SingleArray = np.exp(self._threshold * self._log_q1)
        self._shared, self._extreme = np.zeros(draws, dtype=np.float32), np.zeros(draws, dtype=np.float32)
        self._withheld, self._degree_hours = np.zeros((genera, draws)), np.zeros((genera, draws))

    def add(self, temperature_c: SingleArray, hours: SingleArray | None = None) -> None:
        """Add a block of hours.

        Parameters
        ----------
        temperature_c : (block, n)
            Of the first n draws.
        hours : (n,), optional
            How many hours of the block count for each draw, the last of them perhaps in part; all unless given.
        """
        if temperature_c.max() > HEAT_ONSET_C or temperature_c.min() < FREEZE_C:
            self._add_extreme(temperature_c, hours)
        if hours is None:
            self._add_whole(np.sort(temperature_c, axis=0), 0)
            return
        whole = np.minimum(hours.astype(np.intp), len(temperature_c) - 1)
        self._add_part(temperature_c[whole, np.arange(len(whole))], hours - whole)
        # Those that do not count are the warmest, at the end.
        ascending, least = temperature_c.copy(), int(whole.min())
        ascending[least:][np.arange(least, len(ascending))[:, None] >= whole] = np.inf
        ascending.sort(axis=0)
        self._add_whole(ascending, len(ascending) - least)

    def _add_extreme(self, temperature_c: SingleArray, hours: SingleArray | None) -> None:
        rate = extreme_rate(temperature_c)
        if hours is not None:
            rate *= np.clip(hours - np.arange(len(rate), dtype=np.float32)[:, None], 0.0, 1.0)
        self._extreme[: rate.shape[1]] += rate.sum(axis=0)

    def _add_part(self, temperature_c: SingleArray, part: SingleArray) -> None:
        """Add a part of an hour to each of the first n draws, (n,) each."""
        n = len(part)
        warm = np.exp(temperature_c * self._log_q1[:n])
        self._shared[:n] += part * warm
        self._withheld[:, :n] += part * np.maximum(self._at_threshold[:, :n] - warm, 0.0)
        self._degree_hours[:, :n] += part * np.maximum(self._threshold[:, :n] - temperature_c, 0.0)

    def _add_whole(self, ascending_c: SingleArray, n_ragged: int) -> None:
        """Add hours of ascending temperature, (block, n); some of the last `n_ragged` are infinite and do not count."""
        n = ascending_c.shape[1]
        with np.errstate(over="ignore"):
            warm = np.exp(ascending_c * self._log_q1[:n])
        ragged = len(warm) - n_ragged
        warm[ragged:][np.isinf(ascending_c[ragged:])] = 0.0
        self._shared[:n] += warm.sum(axis=0)
        n_cold = int(np.count_nonzero(ascending_c.min(axis=1) < self._warmest_threshold[:n].max()))
        if not n_cold:
            return
        cold = ascending_c[:n_cold]
        # Row k: sums of the temperatures and of the warm rates of the k coldest hours.
        sums = np.empty((1 + n_cold, 2, n))
        sums[0] = 0.0
        sums[1:, 0], sums[1:, 1] = cold, warm[:n_cold]
        for before, after in pairwise(sums):
            np.add(before, after, out=after)
        is_below, below = np.empty(cold.shape, dtype=bool), np.empty((len(self._threshold), n), dtype=np.intp)
        counting = np.uint8 if n_cold < np.iinfo(np.uint8).max else np.uint16
        for threshold, count in zip(self._threshold[:, :n], below, strict=True):
            np.less(cold, threshold, out=is_below)
            count[:] = np.add.reduce(is_below.view(np.uint8), axis=0, dtype=counting)
        at = 2 * n * below + np.arange(n)
        self._degree_hours[:, :n] += below * self._threshold[:, :n] - sums.take(at)
        self._withheld[:, :n] += below * self._at_threshold[:, :n] - sums.take(at + n)

    def equivalent_days(self) -> SingleArray:
        """Return equivalent days at 20 °C so far, shape (genera, draws)."""
        at_zero = np.exp(log_warm_rate(np.zeros_like(self._log_q1), self._log_q1, step_c=1.0))
        warm = at_zero * (self._shared + self._withheld)
        days: SingleArray = ((warm + self._extreme + self._chill * self._degree_hours) / 24.0).astype(np.float32)
        return days

    def chill_dose_days(self) -> SingleArray:
        """Return the chilling part of the equivalent days, shape (genera, draws)."""
        dose: SingleArray = (self._chill * self._degree_hours / 24.0).astype(np.float32)
        return dose
