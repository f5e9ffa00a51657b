"""Only the total is known of a journey -> how much of it may have been a delay, by Bayes' rule.

    p(delay = y | body + delay = t)  is in proportion to  p(y) f(t - y),    f the density of the body,

with p(0) the chance of none. It is the mixture that forecasts draw from, conditioned on its total: flights missed are a
finite sum, and a hold is taken in cells that are narrow in its own score and in the body's.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.transit.delay import LEAST_SCORE, HoldDelay, MissedFlights, NoDelay
from model.transit.transit import TransitTime
from model.transit.transit_body import HALF_LOG_TWO_PI, MOST_SCORE, TransitBody

Array = NDArray[np.float64]

# Cells of a hold, per kind of edge.
_CELLS = 96
# Two dates without times of day: the total is off by a triangle of a day either way, here at its inner eighths.
_OFF_DAYS = 0.25 * np.arange(-3.0, 4.0)
_LOG_OFF_WEIGHT = np.log((1.0 - np.abs(_OFF_DAYS)) / 4.0)
# However far a total from dates is off, so much of the body's least time is left of it.
_LEAST_OF_MINIMUM = 0.25


class SpentDays(NamedTuple):
    """Ways in which a total may have come about, in days, (ways,) each; `log_weight` is the log density of each."""

    body: Array
    delay: Array
    log_weight: Array


def spent_days(transit: TransitTime, total_days: float, *, dates_only: bool = False) -> SpentDays:
    """Return the ways in which body and delay may add up to a total, each with its log density; none where none does.

    The log densities of several totals of one journey compare, and add up to that of the total.

    Parameters
    ----------
    transit : TransitTime
        With a body that is not fixed.
    total_days : float
    dates_only : bool
        Whether the total is a difference of dates: the density is then an average over what its times of day may add
        or take off, while the ways still add up to the total itself.

    Raises
    ------
    ValueError
        For a fixed body.
    """
    body, delay = transit.body, transit.delay
    delays, log_weights = [np.zeros(1)], [np.full(1, -np.inf if delay.share == 1.0 else np.log1p(-delay.share))]
    longest = total_days - _least(body, dates_only)
    if delay.share > 0 and longest > 0 and not isinstance(delay, NoDelay):
        own, log_weight = (
            _flights(delay, longest) if isinstance(delay, MissedFlights) else _hold(delay, body, total_days, longest)
        )
        delays.append(own)
        log_weights.append(np.log(delay.share) + log_weight)
    late = np.concatenate(delays)
    left = total_days - late
    log_weight = np.concatenate(log_weights) + _log_density(body, left, dates_only)
    possible = np.isfinite(log_weight) & (left > 0)
    return SpentDays(left[possible], late[possible], log_weight[possible])


def chosen(log_weight: Array, n: int, at: float) -> NDArray[np.intp]:
    """Return n of the ways in proportion to their weights, (n,), in their order.

    A systematic sample: none is taken more than once more or less often than its weight asks for, and over an even
    `at` in [0, 1) each as often as that.
    """
    below = np.cumsum(np.exp(log_weight - log_weight.max()))
    index = np.searchsorted(below, below[-1] * (np.arange(n) + at) / n, side="right")
    return np.asarray(np.minimum(index, len(log_weight) - 1), dtype=np.intp)


def _least(body: TransitBody, dates_only: bool) -> float:
    if not dates_only:
        return body.minimum_days
    return max(body.minimum_days + float(_OFF_DAYS[0]), _LEAST_OF_MINIMUM * body.minimum_days)


def _log_density(body: TransitBody, days: Array, dates_only: bool) -> Array:
    if not dates_only:
        return body.log_density(days)
    density: Array = np.logaddexp.reduce(body.log_density(days[:, None] + _OFF_DAYS) + _LOG_OFF_WEIGHT, axis=1)
    return density


def _flights(delay: MissedFlights, longest_days: float) -> tuple[Array, Array]:
    """Return the delays of 1, 2, ... flights missed up to the longest, and the log of their chances."""
    k = np.arange(1.0, np.floor(longest_days / delay.interval_days) + 1.0)
    if delay.again_share == 0:
        k = k[:1]
    log_again = 0.0 if delay.again_share == 0 else np.log(delay.again_share)
    return delay.interval_days * k, np.log1p(-delay.again_share) + (k - 1.0) * log_again


def _hold(delay: HoldDelay, body: TransitBody, total_days: float, longest_days: float) -> tuple[Array, Array]:
    """Return the middles of cells of a hold's score up to the longest, in days, and the log of their chances."""
    top = float(np.clip(delay.score(longest_days), LEAST_SCORE, MOST_SCORE))
    least = max(body.floor_score, LEAST_SCORE)
    most = float(np.clip(body.score(total_days), least, MOST_SCORE))
    of_body = delay.score(total_days - body.days_at(np.linspace(least, most, _CELLS + 1)))
    edge = np.sort(np.concatenate([np.linspace(LEAST_SCORE, top, _CELLS + 1), np.clip(of_body, LEAST_SCORE, top)]))
    edge = edge[np.append(True, np.diff(edge) > 0)]
    score = 0.5 * (edge[1:] + edge[:-1])
    return delay.days(score), np.log(np.diff(edge)) - 0.5 * score**2 - HALF_LOG_TWO_PI
