"""The damage rate of many lines at constant temperatures, in single precision.

Above the chilling threshold the log of the rate is linear in temperature, so most lines need neither an exponential nor
a logarithm: what is worked out here is only what cold, heat and frost add to that. `damage.damage_rate` is the plain
form, which this agrees with to 1e-5.
"""

from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from model.exposure.damage import (
    Q10_STEP_C,
    REFERENCE_C,
    ClockDraws,
    degrees_below,
    extreme_rate,
    log_warm_rate,
)

SingleArray = NDArray[np.float32]


def log_factor_per_c(clock: ClockDraws) -> SingleArray:
    """Return the log of the factor by which 1 °C speeds the clock, (draws,)."""
    return (clock.log_q10 / Q10_STEP_C).astype(np.float32)


class ColdDraws(NamedTuple):
    """What a genus's clock does below its threshold.

    Attributes
    ----------
    threshold_c, chill_per_day_c : (draws,)
    chill_relative : (draws,)
        The second as a part of the warm rate at the threshold, which stays below it.
    warmest_threshold_c : float
        Of all draws: above it no draw is cold.
    """

    threshold_c: SingleArray
    chill_per_day_c: SingleArray
    chill_relative: SingleArray
    warmest_threshold_c: float

    @classmethod
    def of(cls, clock: ClockDraws, genus: int = 0) -> Self:
        """Return those of one of the genera of a clock."""
        threshold, chill = clock.threshold_c[genus], clock.chill_per_day_c[genus]
        at_threshold = np.exp(log_warm_rate(threshold, clock.log_q10))
        rows = [row.astype(np.float32) for row in (threshold, chill, chill / at_threshold)]
        return cls(rows[0], rows[1], rows[2], float(threshold.max()))


def is_plain(temperature_c: NDArray[np.float64], warmest_threshold_c: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether the rate of a line is the warm one in every draw, (lines,)."""
    plain: NDArray[np.bool_] = (temperature_c >= warmest_threshold_c) & (extreme_rate(temperature_c) == 0.0)
    return plain


def beyond_warm(
    temperature_c: NDArray[np.float64],
    log_q1: SingleArray,
    threshold_c: SingleArray,
    chill_per_day_c: SingleArray,
    chill_relative: SingleArray,
) -> tuple[SingleArray, SingleArray]:
    """Return the log of the damage rate less that of the warm rate at its temperature, and the chilling part.

    Below the threshold the first is log Q1 x degrees below + log(1 + relative chill rate x degrees below), and 0 above.

    Parameters
    ----------
    temperature_c : (lines,)
    log_q1 : (draws,)
        From `log_factor_per_c`.
    threshold_c, chill_per_day_c, chill_relative : (lines, draws)

    Returns
    -------
    (lines, draws), (lines, draws)
        The second in equivalent days a day.
    """
    inside = temperature_c.astype(np.float32)[:, None]
    below = degrees_below(inside, threshold_c)
    chill = chill_per_day_c * below
    beyond = chill_relative * below
    beyond += np.float32(1.0)
    np.log(beyond, out=beyond)
    below *= log_q1
    beyond += below
    extreme = extreme_rate(temperature_c).astype(np.float32)
    if extreme.any():
        rows = np.flatnonzero(extreme)
        warm = (inside[rows] - np.float32(REFERENCE_C)) * log_q1
        beyond[rows] = np.log(np.exp(warm + beyond[rows]) + extreme[rows, None]) - warm
    return beyond, chill
