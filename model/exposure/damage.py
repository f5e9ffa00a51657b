"""The thermal clock: temperature -> damage rate -> equivalent days at 20 °C; the one home of the rate.

    rate = Q10^((max(T, threshold) - 20) / 10) + chill rate x max(threshold - T, 0) + heat + freezing

Damage adds up over time (cumulative exposure, Nelson 1980; heat and cold damage of plants add up: Faber, Orsted &
Ehlers 2024, J. Exp. Bot. 75:3467). Below the genus's chilling threshold the warm term stays at its value there and
chilling is added, so for every draw the rate falls down to the threshold and rises below it.
"""

from dataclasses import dataclass
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
# Below this share of cold draws gathering them costs less than taking all.
GATHERED_SHARE = 0.4


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


def degrees_below(temperature_c: Array, threshold_c: Array) -> Array:
    """Return how far temperatures lie below a chilling threshold, °C; 0 above it."""
    degrees: Array = np.maximum(threshold_c - temperature_c, 0.0)
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
    """Adds up equivalent days over blocks of hours for a shrinking set of draws.

    Below its threshold a genus's warm term stays at its value there, and Q10 > 1: so the warm sum over hours is that of
    max(Q10^((T - 20)/10), Q10^((threshold - 20)/10)). The exponential is shared by all genera; a genus costs two
    comparisons an hour, and only for draws that fall below some genus's threshold in the block. Hours are taken in
    single precision: sums err by less than 1e-5 of themselves and take half the time.
    """

    def __init__(self, clock: ClockDraws) -> None:
        genera, draws = clock.threshold_c.shape
        self._log_q1: SingleArray = (clock.log_q10 / Q10_STEP_C).astype(np.float32)
        self._chill = clock.chill_per_day_c
        self._threshold: SingleArray = clock.threshold_c.astype(np.float32)
        self._warmest_threshold = clock.threshold_c.max(axis=0)
        self._at_threshold = np.exp(log_warm_rate(self._threshold, self._log_q1, step_c=1.0))
        self._shared = np.zeros(draws)
        self._withheld = np.zeros((genera, draws), dtype=np.float32)
        self._degree_hours = np.zeros((genera, draws), dtype=np.float32)

    def add(self, temperature_c: SingleArray, hours: SingleArray | None) -> None:
        """Add a block of hours for the first n draws.

        Parameters
        ----------
        temperature_c : (block, n)
        hours : (block, m) or None
            The part of each hour that counts for the last m of the n draws; for the others all of it counts.
        """
        n = temperature_c.shape[1]
        rate = np.exp(log_warm_rate(temperature_c, self._log_q1[:n], step_c=1.0))
        coldest = temperature_c.min(axis=0)
        cold = np.flatnonzero(coldest < self._warmest_threshold[:n])
        if len(cold):
            # Few draws are gathered; many are taken as they lie.
            some = cold if len(cold) < GATHERED_SHARE * n else slice(0, n)
            part = None
            if hours is not None:
                part = np.ones((len(temperature_c), n), dtype=np.float32)
                part[:, n - hours.shape[1] :] = hours
                part = part[:, some]
            self._add_cold(some, temperature_c[:, some], rate[:, some], part)
        if temperature_c.max() > HEAT_ONSET_C or coldest.min() < FREEZE_C:
            rate += extreme_rate(temperature_c)
        if hours is not None:
            rate[:, n - hours.shape[1] :] *= hours
        self._shared[:n] += rate.sum(axis=0)

    def _add_cold(
        self, some: Indices | slice, temperature_c: SingleArray, warm: SingleArray, part: SingleArray | None
    ) -> None:
        """Add for some draws what the genera's thresholds withhold and cost; (block, draws) each."""
        work = np.empty_like(warm)
        hours = np.ones(len(warm), dtype=np.float32)
        for genus in range(len(self._threshold)):
            for at_threshold, now, total in (
                (self._threshold, temperature_c, self._degree_hours),
                (self._at_threshold, warm, self._withheld),
            ):
                np.subtract(at_threshold[genus, some], now, out=work)
                np.maximum(work, 0.0, out=work)
                if part is not None:
                    work *= part
                total[genus, some] += hours @ work

    def equivalent_days(self) -> Array:
        """Return equivalent days at 20 °C so far, shape (genera, draws)."""
        days: Array = (self._shared + self._withheld + self._chill * self._degree_hours) / 24.0
        return days

    def chill_dose_days(self) -> Array:
        """Return the chilling part of the equivalent days, shape (genera, draws)."""
        dose: Array = self._chill * self._degree_hours / 24.0
        return dose
