"""What a logger's summary says of a box -> the lane's simulated journeys, made to agree with it.

A mean, a minimum or a maximum is not the air in the box: it tells where the journey lay, and simulated journeys tell
what such journeys look like. So each journey keeps its course and is moved to what was measured.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# A journey's span below which its course says nothing of how the air went from one extreme to the other.
LEAST_SPAN_C = 0.01
# Exponents of the power map that meets a mean between two extremes; beyond them all but an instant is at one extreme.
EXPONENTS = (0.02, 50.0)
# Halvings of the exponent's logarithm: 1e-10 of its range.
HALVINGS = 33


class Measured(NamedTuple):
    """A logger's summary of the air in a box over the trip, °C; NaN where it does not say.

    None above the next of `min_c`, `mean_c`, `max_c`.
    """

    mean_c: float = np.nan
    min_c: float = np.nan
    max_c: float = np.nan

    @property
    def anything(self) -> bool:
        """Whether there is any of them."""
        return not bool(np.isnan(self).all())


def agreeing(inside_c: Array, hours: Array, measured: Measured) -> Array:
    """Return journeys that agree with what was measured, (steps, journeys).

    * One of mean, minimum and maximum: each journey is shifted by what it lacks.
    * The mean and one extreme: its deviations from its mean are scaled, so that they reach that extreme.
    * Both extremes: an affine map takes its extremes to those measured.
    * All three: between the extremes the rescaled air u in [0, 1] becomes u^p, where p meets the mean. Where no p of
      `EXPONENTS` does, the nearest is taken.

    A journey without a span takes evenly all temperatures from one extreme to the other.

    Parameters
    ----------
    inside_c : (steps, journeys)
        Air in the box by the simulation, °C.
    hours : (steps, journeys)
        What part of each step counts; steps of which none does are no part of a journey's mean and extremes.
    measured : Measured
    """
    if not measured.anything:
        return inside_c
    counted = hours > 0
    share = hours / hours.sum(axis=0)
    own_min = np.where(counted, inside_c, np.inf).min(axis=0)
    own_max = np.where(counted, inside_c, -np.inf).max(axis=0)
    own_mean = (share * inside_c).sum(axis=0)
    low, mean, high = measured.min_c, measured.mean_c, measured.max_c
    agreed: Array
    if not np.isnan(low) and not np.isnan(high):
        rescaled = _rescaled(inside_c, share, own_min, own_max)
        if not np.isnan(mean) and high > low:
            rescaled = _with_mean(rescaled, share, (mean - low) / (high - low))
        agreed = low + (high - low) * rescaled
        return agreed
    extreme, own = (high, own_max) if np.isnan(low) else (low, own_min)
    if np.isnan(mean):
        agreed = inside_c + (extreme - own)
    elif np.isnan(extreme):
        agreed = inside_c + (mean - own_mean)
    else:
        reach = own - own_mean
        reach = np.where(np.abs(reach) < LEAST_SPAN_C, np.copysign(LEAST_SPAN_C, extreme - mean), reach)
        agreed = mean + (inside_c - own_mean) * np.abs((extreme - mean) / reach)
    return agreed


def _rescaled(inside_c: Array, share: Array, own_min: Array, own_max: Array) -> Array:
    """Return journeys between 0 at their minimum and 1 at their maximum, (steps, journeys)."""
    span = own_max - own_min
    within = np.clip((inside_c - own_min) / np.maximum(span, LEAST_SPAN_C), 0.0, 1.0)
    passed = np.cumsum(share, axis=0) - 0.5 * share
    return np.where(span < LEAST_SPAN_C, passed, within)


def _with_mean(rescaled: Array, share: Array, wanted: float) -> Array:
    """Return u^p of rescaled journeys u, each with the p for which its mean is the wanted one, (steps, journeys)."""
    with np.errstate(divide="ignore"):  # 0 to any power is 0
        log_u = np.log(rescaled)
    low, high = (np.full(rescaled.shape[1], float(np.log(end))) for end in EXPONENTS)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        too_warm = (share * np.exp(np.exp(middle) * log_u)).sum(axis=0) > wanted
        low, high = np.where(too_warm, middle, low), np.where(too_warm, high, middle)
    powered: Array = np.exp(np.exp(0.5 * (low + high)) * log_u)
    return powered
