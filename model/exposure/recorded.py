"""Exposure of a recorded box: what is known of its temperatures -> log equivalent days as functions of the clock.

Temperatures are kept as hours in bins of 1 °C, so that one look at the box serves every genus in it.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from model.exposure.box import Box
from model.exposure.damage import degrees_below
from model.exposure.journey import StreetAir, follow_inside
from model.exposure.measured import Measured, agreeing
from model.exposure.table import tabulated_rates
from model.reference import Leg

Array = NDArray[np.float64]

BIN_C = np.arange(-40.0, 81.0)
# Two dates without times of day: the difference is uncertain by a triangle of a day, sd 0.41 (Irwin-Hall, n = 2).
DATES_SD_DAYS = float(np.sqrt(2.0 / 12.0))
UNMEASURED = Measured()


def binned(temperature_c: Array, days: Array) -> Array:
    """Return days spent in each bin of `BIN_C`, (journeys, bins); a temperature is shared between its two bins.

    Parameters
    ----------
    temperature_c, days : (steps, journeys)
    """
    position = np.clip(temperature_c - BIN_C[0], 0.0, len(BIN_C) - 1.001)
    low = position.astype(np.intp)
    part = position - low
    n = temperature_c.shape[1]
    bins = np.zeros((n, len(BIN_C)))
    journey = np.broadcast_to(np.arange(n), low.shape)
    np.add.at(bins, (journey, low), days * (1.0 - part))
    np.add.at(bins, (journey, low + 1), days * part)
    return bins


def trace_bins(hours: Array, temperature_c: Array, days: float) -> Array:
    """Return the bins of a logged box, (1, bins): each reading counts to half-way to its neighbours.

    Parameters
    ----------
    hours, temperature_c : (readings,)
        Ascending hours; the whole is scaled to `days`.
    """
    width = np.gradient(hours) if len(hours) > 1 else np.ones(1)
    share = width / width.sum()
    return binned(temperature_c[:, None], (days * share)[:, None])


def journey_bins(
    legs: Sequence[Leg], ends_h: Array, streets: dict[str, StreetAir], box: Box, measured: Measured = UNMEASURED
) -> Array:
    """Return the bins of simulated journeys that agree with what was measured of a box, (journeys, bins)."""
    inside, hours = follow_inside(legs, ends_h, streets, box)
    return binned(agreeing(inside, hours, measured), hours / 24.0)


def mean_of_bins(bins: Array) -> Array:
    """Return the time-weighted mean temperature of each journey, °C, (journeys,)."""
    mean: Array = bins @ BIN_C / bins.sum(axis=1)
    return mean


def log_days(bins: Array, rates: Array, days: float, *, dates_only: bool) -> tuple[Array, Array]:
    """Return mean and variance over journeys of log equivalent days, at the tabulated points of an exposure.

    Parameters
    ----------
    bins : (journeys, bins)
    rates : (bins, Q10_NODES, CHILL_NODES)
        From `binned_rates`.
    days : float
        Closing to opening.
    dates_only : bool
        Whether the time of day is unknown at both ends.
    """
    equivalent = np.log(np.tensordot(bins, rates, axes=1))
    variance = equivalent.var(axis=0)
    if dates_only:
        variance = variance + (DATES_SD_DAYS / days) ** 2
    return equivalent.mean(axis=0), variance


def binned_rates(threshold_c: float, sensitivity: float) -> Array:
    """Return the damage rate of a genus in each bin at the tabulated points, (bins, Q10_NODES, CHILL_NODES)."""
    of_bins = np.ones_like(BIN_C)
    return tabulated_rates(BIN_C, threshold_c * of_bins, sensitivity * of_bins)


def binned_degrees_below(threshold_c: float) -> Array:
    """Return how far each bin lies below a chilling threshold, °C, (bins,)."""
    return degrees_below(BIN_C, np.array(threshold_c))
