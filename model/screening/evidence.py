"""Log densities of what is recorded of a box, and chances of slips from them.

A record with a slip undone is another record: its density is that of the number that would have been right, times how
far the slip stretches numbers (Fahrenheit spreads them 1.8 times thinner). Chances are by Bayes' rule over the record
as it stands and every slip that could have made it.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.reference import COLDEST_C, CONSTANTS, WARMEST_C

Array = NDArray[np.float64]

T_DEGREES = CONSTANTS.journey_mean_degrees
LONGEST_DAYS = CONSTANTS.longest_transit_days
HALF_DAY = 0.5
BOXES_THAT_MAY_SLIP = CONSTANTS.boxes_that_may_slip


def log_temperature_density(logged_c: float, journeys_c: Array) -> float:
    """Return the log density of a logger's mean, per °C, given the means of simulated journeys, (journeys,).

    Student's t about the journeys' mean; its scale adds what the simulation may be off by.
    """
    scale = float(np.hypot(journeys_c.std(), CONSTANTS.journey_mean_sd_c))
    z = (logged_c - float(journeys_c.mean())) / scale
    half = 0.5 * (T_DEGREES + 1.0)
    constant = special.gammaln(half) - special.gammaln(0.5 * T_DEGREES) - 0.5 * np.log(np.pi * T_DEGREES)
    return float(constant - np.log(scale) - half * np.log1p(z**2 / T_DEGREES))


def log_uniform_temperature() -> float:
    """Return the log density of a mean that may be anything."""
    return -float(np.log(WARMEST_C - COLDEST_C))


def log_days_chance(days: float, log_sf: Callable[[Array], Array], others: Array) -> float:
    """Return the log chance of the days of a box, within half a day.

    Parameters
    ----------
    days : float
        Above 0, layovers taken off.
    log_sf : callable
        Log chance of taking longer, by the table.
    others : (boxes,)
        Days of the ledger's other boxes of the service, scaled to this lane. What the table says counts as
        `CONSTANTS.table_worth_boxes` of them; a small share of boxes takes any time at all.
    """
    ends = np.exp(log_sf(np.array([max(days - HALF_DAY, 1e-3), days + HALF_DAY])))
    table = float(ends[0] - ends[1])
    width = CONSTANTS.like_days_share * days + HALF_DAY
    weights = np.exp(-0.5 * ((others - days) / width) ** 2)
    like = max(float(weights.sum()) - BOXES_THAT_MAY_SLIP, 0.0) / (width * np.sqrt(2.0 * np.pi))
    worth = CONSTANTS.table_worth_boxes
    usual = (worth * table + like) / (worth + max(len(others) - BOXES_THAT_MAY_SLIP, 0.0))
    odd = CONSTANTS.odd_wait_share
    return float(np.log((1.0 - odd) * usual + odd / LONGEST_DAYS))


def log_uniform_days() -> float:
    """Return the log chance of days that may be anything, within half a day."""
    return -float(np.log(LONGEST_DAYS))


def log_uniform_counts(counts: Array) -> float:
    """Return the log chance of the counts of some lines, (lines, states), if all shares are equally likely beforehand.

    The lines have the shares in common: a Dirichlet-multinomial with ones (Mosimann 1962, Biometrika 49:65).
    """
    totals = counts.sum(axis=0)
    states = len(totals)
    orders = special.gammaln(counts.sum(axis=1) + 1.0).sum() - special.gammaln(counts + 1.0).sum()
    shares = special.gammaln(states) + special.gammaln(totals + 1.0).sum() - special.gammaln(totals.sum() + states)
    return float(orders + shares)


def slip_chances(log_weights: Array) -> Array:
    """Return the chance of each hypothesis, (hypotheses,), from log prior plus log density."""
    chances: Array = special.softmax(log_weights)
    return chances
