"""The ordered-outcome current-status likelihood of a line, with first and second derivatives.

    loglik = -c1 H1 + c2 L(H1) - c3 H2 + c4 L(H2) + c5 L(H1 - H2),   L(z) = log(1 - exp(-z))
    H1 = H_loss,  H2 = H_death (`model.plant.hazard`)

Three states: c1 healthy, c3 = c5 damaged, c4 dead. Healthy / not: c1 and c2. Alive / dead: c3 and c4. So every row,
whatever is known of it, has five coefficients. Grouped proportional hazards: Prentice & Gloeckler 1978; ordinal
complementary log-log: McCullagh 1980. For h0 = 0 it is concave in (eta, delta).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.observations import Observations
from model.plant import DEAD_SHARE_OF_SPOILT, clock_hazards, cumulative_hazards, damage_hazards, spoilt_hazards

Array = NDArray[np.float64]

LARGEST_LOG_HAZARD = 300.0
SINGLE_LARGEST = 40.0
TINY, SINGLE_TINY = 1e-300, 1e-37
# Weighted counts add up only so far.
COUNT_ERROR = 1e-9


class CountError(ValueError):
    """A line's counts cannot be used; the message names the line and what would be right."""


class Terms(NamedTuple):
    """Log likelihood and its derivatives in eta, delta and h0; shape of eta each."""

    value: Array
    eta: Array
    eta2: Array
    delta: Array
    delta2: Array
    eta_delta: Array
    h0: Array


def coefficients(observations: Observations) -> Array:
    """Return (5, lines): what multiplies each term of the log likelihood.

    Raises
    ------
    CountError
        Where counts are negative, do not add up to `sent`, or neither healthy nor dead is known.
    """
    healthy, damaged, dead, sent = observations.healthy, observations.damaged, observations.dead, observations.sent
    known = ~np.isnan(np.stack([healthy, damaged, dead]))
    three, only_healthy, only_dead = known.all(axis=0), known[0] & ~known[2], known[2] & ~known[0]
    bad = ~(three | only_healthy | only_dead)
    if bad.any():
        raise CountError(f"line {int(np.argmax(bad))}: healthy, or dead, or all three counts are needed")
    h, m, d = (np.nan_to_num(x) for x in (healthy, damaged, dead))
    spare = sent - (h + m + d)
    # Written so that a number sent that is not a number is wrong too.
    right = (np.minimum(np.minimum(h, m), d) >= 0) & np.isfinite(sent)
    right &= (spare >= -COUNT_ERROR) & (~three | (spare <= COUNT_ERROR))
    wrong = ~right
    if wrong.any():
        raise CountError(
            f"line {int(np.argmax(wrong))}: healthy + damaged + dead must be the number sent, none below 0"
        )
    zero = np.zeros_like(h)
    return np.stack(
        [
            np.where(only_dead, zero, h),
            np.where(only_healthy, sent - h, zero),
            np.where(only_dead, sent - d, np.where(three, m, zero)),
            np.where(only_healthy, zero, d),
            np.where(three, m, zero),
        ]
    )


def log_choose(observations: Observations) -> Array:
    """Return the log multinomial coefficient of each line, which no parameter changes; (lines,).

    Damaged plants count only where all three states are known, as in `coefficients`.
    """
    value = special.gammaln(observations.sent + 1.0)
    rest = observations.sent.copy()
    healthy, damaged, dead = observations.healthy, observations.damaged, observations.dead
    for counts in (healthy, np.where(np.isnan(healthy) | np.isnan(dead), 0.0, damaged), dead):
        known = np.nan_to_num(counts)
        value = value - special.gammaln(known + 1.0)
        rest = rest - known
    total: Array = value - special.gammaln(np.maximum(rest, 0.0) + 1.0)
    return total


def _counted(count: Array, z: Array) -> Array:
    """Return count x log(1 - exp(-z)) for z >= 0, 0 where the count is 0."""
    # Something is added, so that log 0 times a count of 0 is 0; it changes no z that any plant can have.
    if z.dtype == np.float64:
        result: Array = np.log(TINY - np.expm1(-z))
    else:
        half = _tanh_half(z)
        result = np.log(SINGLE_TINY + 2.0 * half / (1.0 + half))
    result *= count
    return result


def _odds(z: Array) -> Array:
    """Return L'(z) = 1 / (exp(z) - 1)."""
    with np.errstate(over="ignore", divide="ignore"):
        if z.dtype == np.float64:
            value: Array = 1.0 / np.expm1(z)
        else:
            half = _tanh_half(z)
            value = (1.0 - half) / (2.0 * half)
    return value


def _tanh_half(z: Array) -> Array:
    """Return t = tanh(z / 2), by which exp(z) - 1 = 2 t / (1 - t) and 1 - exp(-z) = 2 t / (1 + t).

    Of small z it is as exact as expm1, and in single precision on processors without wide vectors five times faster.
    """
    value: Array = np.tanh(0.5 * z)
    return value


def _hazard(eta: Array) -> Array:
    """Return exp(eta); past 300 (40 in single precision) it stays, where nothing lives and squares are still finite."""
    hazard: Array = np.exp(np.minimum(eta, LARGEST_LOG_HAZARD if eta.dtype == np.float64 else SINGLE_LARGEST))
    return hazard


def _hazards(eta: Array, delta: float | Array, h0: float | Array) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """Return H1, H2 and H1 - H2: what the clock adds to them, which is their slope in eta, and the whole."""
    by_clock, spoilt = clock_hazards(_hazard(eta), delta), spoilt_hazards(h0)
    between, spoilt_between = damage_hazards(by_clock[0], delta, h0)
    slope = *by_clock, between
    return slope, (spoilt[0] + slope[0], spoilt[1] + slope[1], spoilt_between + between)


def value(eta: Array, c: Array, delta: float | Array, h0: float | Array) -> Array:
    """Return the log likelihood alone; `c` is (5, ...) and broadcasts against `eta`, as delta and h0 do.

    Where all are in single precision, so is the result.
    """
    a = _hazard(eta)
    first, second = cumulative_hazards(a, delta, h0)
    between, spoilt_between = damage_hazards(a, delta, h0)
    between += spoilt_between
    result = _counted(c[3], second)
    result += _counted(c[4], between)
    if c[1].any():
        result += _counted(c[1], first)
    first *= c[0]
    second *= c[2]
    result -= first
    result -= second
    return result


def slopes(eta: Array, c: Array, delta: float | Array, h0: float | Array) -> tuple[Array, Array]:
    """Return the first and second derivatives in eta alone."""
    (a, b, ab), (first, second, between) = _hazards(eta, delta, h0)
    g1, g1_slope = -c[0], 0.0
    if c[1].any():
        r1 = np.where(c[1] > 0, _odds(first), 0.0)
        g1, g1_slope = g1 + c[1] * r1, -c[1] * r1 * (1.0 + r1)
    r2 = np.where(c[3] > 0, _odds(second), 0.0)
    r3 = np.where(c[4] > 0, _odds(between), 0.0)
    slope = g1 * a + (c[3] * r2 - c[2]) * b + c[4] * r3 * ab
    curvature = slope + g1_slope * a**2 - c[3] * r2 * (1.0 + r2) * b**2 - c[4] * r3 * (1.0 + r3) * ab**2
    return slope, curvature


def terms(eta: Array, c: Array, delta: float | Array, h0: float | Array) -> Terms:
    """Return the log likelihood with its derivatives; `c` is (5, ...) and broadcasts against `eta`."""
    (a, b, ab), (first, second, between) = _hazards(eta, delta, h0)
    log_value = _counted(c[3], second) + _counted(c[4], between) - c[0] * first - c[2] * second
    g1, g1_slope = -c[0], 0.0
    if c[1].any():
        r1 = np.where(c[1] > 0, _odds(first), 0.0)
        g1, g1_slope = g1 + c[1] * r1, -c[1] * r1 * (1.0 + r1)
        log_value = log_value + _counted(c[1], first)
    r2, r3 = np.where(c[3] > 0, _odds(second), 0.0), np.where(c[4] > 0, _odds(between), 0.0)
    g2, g2_slope = -c[2] + c[3] * r2, -c[3] * r2 * (1.0 + r2)
    g3, g3_slope = c[4] * r3, -c[4] * r3 * (1.0 + r3)
    d_eta = g1 * a + g2 * b + g3 * ab
    d_delta = b * (g3 - g2)
    return Terms(
        value=log_value,
        eta=d_eta,
        eta2=d_eta + g1_slope * a**2 + g2_slope * b**2 + g3_slope * ab**2,
        delta=d_delta,
        delta2=-d_delta + b**2 * (g3_slope + g2_slope),
        eta_delta=d_delta + b * (g3_slope * ab - g2_slope * b),
        h0=g1 + g2 * DEAD_SHARE_OF_SPOILT + g3 * (1.0 - DEAD_SHARE_OF_SPOILT),
    )
