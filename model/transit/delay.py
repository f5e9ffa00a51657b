"""Delays as a separate mixture: with a small chance a box waits for a log-normal time, or misses whole flights.

Every delay knows its own distribution given that there is one, the tail of body plus delay, and how long the delay was
or will be when a box is late already.
"""

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr, ndtri_exp

from model.transit.transit_body import HALF_LOG_TWO_PI, MOST_SCORE, TransitBody

Array = NDArray[np.float64]

# Scores below carry less than 1e-16 of the mass; scores above MOST_SCORE less than 1e-300.
LEAST_SCORE = -8.5
# Gauss-Legendre panels at most this wide in the scores of body and delay; eight nodes in each.
PANEL_WIDTH = 1.25
_NODE, _NODE_WEIGHT = np.polynomial.legendre.leggauss(8)
# Times integrated at once, to bound memory at some ten MB.
_CHUNK = 512
# Cells of the table by which the delay of a late box is drawn, per kind of edge.
_DRAW_CELLS = 1024
# Cells with a density below exp(-_LEAST_LOG_SHARE) of the highest are left out of that table.
_LEAST_LOG_SHARE = 23.0
# Flights missed beyond the one whose weight is exp(-_LEAST_LOG_WEIGHT) count as that one.
_LEAST_LOG_WEIGHT = 700.0


@dataclass(frozen=True)
class NoDelay:
    """A service that is never held up."""

    @property
    def share(self) -> float:
        """Chance of a delay: 0."""
        return 0.0

    def with_share(self, share: float) -> Self:
        """Return the same delay; raises ValueError unless `share` is 0."""
        if share != 0.0:
            raise ValueError("share: a service without delays has share 0")
        return self

    def learned(self, share: float, size: float, again_share: float) -> Self:  # noqa: ARG002
        """Return the same: there is no delay to learn of."""
        return self.with_share(share)

    def mean_days(self) -> float:
        """Return the mean delay, days: 0."""
        return 0.0

    def sf(self, delay_days: ArrayLike) -> Array:
        """Return P(delay > delay_days): 1 below 0, else 0."""
        return np.exp(self.log_sf(delay_days))

    def log_sf(self, delay_days: ArrayLike) -> Array:
        """Return log P(delay > delay_days): 0 below 0, else minus infinity."""
        return np.where(np.asarray(delay_days, dtype=np.float64) < 0.0, 0.0, -np.inf)

    def draw(self, u: ArrayLike) -> Array:
        """Return zeros of the shape of `u`, days."""
        return np.zeros(np.shape(u))

    def days_at_log_sf(self, log_sf: ArrayLike) -> Array:
        """Return zeros of the shape of `log_sf`, days."""
        return np.zeros(np.shape(log_sf))

    def log_sf_after(self, body: TransitBody, days: ArrayLike) -> Array:
        """Return log P(body > days)."""
        return body.log_sf(days)

    def draw_late(self, body: TransitBody, elapsed_days: float, u: ArrayLike) -> Array:  # noqa: ARG002
        """Return zeros of the shape of `u`, days."""
        return np.zeros(np.shape(u))


@dataclass(frozen=True)
class HoldDelay:
    """With chance `share` a log-normal wait: held by customs, or before a closed warehouse.

    Attributes
    ----------
    share : float
        Chance of a delay, 0-1.
    median_days : float
        Median of the delay when there is one.
    sd_log : float
        Standard deviation of the log of the delay.
    """

    share: float
    median_days: float
    sd_log: float

    def __post_init__(self) -> None:
        _check_share(self.share)
        _check_positive("median_days", self.median_days)
        _check_positive("sd_log", self.sd_log)

    def with_share(self, share: float) -> Self:
        """Return the same delay with another chance of happening."""
        return replace(self, share=share)

    def learned(self, share: float, size: float, again_share: float) -> Self:  # noqa: ARG002
        """Return the delay with another chance, so many times as long."""
        return replace(self, share=share, median_days=self.median_days * size)

    def mean_days(self) -> float:
        """Return the mean delay given that there is one, days."""
        return float(self.median_days * np.exp(0.5 * self.sd_log**2))

    def sf(self, delay_days: ArrayLike) -> Array:
        """Return P(delay > delay_days) given that there is a delay."""
        return np.exp(self.log_sf(delay_days))

    def log_sf(self, delay_days: ArrayLike) -> Array:
        """Return log P(delay > delay_days) given that there is a delay."""
        return np.asarray(log_ndtr(-self.score(delay_days)))

    def draw(self, u: ArrayLike) -> Array:
        """Return the delay in days at cumulative chance u in [0, 1), given that there is one."""
        return self.days_at_log_sf(np.log1p(-np.asarray(u, dtype=np.float64)))

    def days_at_log_sf(self, log_sf: ArrayLike) -> Array:
        """Return the delay in days that is exceeded with chance exp(log_sf)."""
        return self.days(-ndtri_exp(np.asarray(log_sf, dtype=np.float64)))

    def log_sf_after(self, body: TransitBody, days: ArrayLike) -> Array:
        """Return log P(body + delay > days), of the shape of `days`.

        Gauss-Legendre over panels narrow in the scores of both body and delay, so that neither may be much the
        narrower; relative error of the chance below 1e-6 down to 1e-18.
        """
        time = np.asarray(days, dtype=np.float64)
        if not body.scale:
            return self.log_sf(time - body.location)
        log_sf = np.zeros(time.size)
        late = np.flatnonzero(time.ravel() > body.minimum_days)
        for start in range(0, late.size, _CHUNK):
            chunk = late[start : start + _CHUNK]
            log_sf[chunk] = self._log_sf_integral(body, time.ravel()[chunk])
        return np.minimum(log_sf, 0.0).reshape(time.shape)

    def draw_late(self, body: TransitBody, elapsed_days: float, u: ArrayLike) -> Array:
        """Return the delay in days at cumulative chance u in [0, 1), given that body + delay > elapsed_days.

        Inverts the conditional distribution function: exact above elapsed_days - minimum_days, below it from a table
        in some 4,000 cells of the delay's score (error of the distribution function usually below 1e-6).
        """
        time = np.asarray([elapsed_days], dtype=np.float64)
        edge = self._edges(body, time, _DRAW_CELLS, _DRAW_CELLS)[0] if body.scale else self._top_score(body, time)
        # A delay above the last edge makes the box late whatever the body.
        log_tail = float(log_ndtr(-edge[-1]))
        log_density = self._log_integrand(body, edge, elapsed_days)
        # Far out the mass sits in few cells: divide those that matter once more.
        matter = np.flatnonzero(log_density > max(float(np.max(log_density)), log_tail) - _LEAST_LOG_SHARE)
        if matter.size:
            first, last = max(matter[0] - 1, 0), min(matter[-1] + 1, edge.size - 1)
            edge = np.interp(np.linspace(first, last, 4 * _DRAW_CELLS + 1), np.arange(edge.size), edge)
            log_density = self._log_integrand(body, edge, elapsed_days)
        return self.days(drawn_score(u, edge, log_density, log_tail))

    def score(self, delay_days: ArrayLike) -> Array:
        """Return the normal score of a delay; minus infinity for none."""
        with np.errstate(divide="ignore"):
            log_days = np.log(np.maximum(np.asarray(delay_days, dtype=np.float64), 0.0))
        return np.asarray((log_days - np.log(self.median_days)) / self.sd_log)

    def days(self, score: Array) -> Array:
        """Return the delay in days at a normal score."""
        with np.errstate(over="ignore"):
            return np.asarray(self.median_days * np.exp(self.sd_log * score))

    def _top_score(self, body: TransitBody, time: Array) -> Array:
        """Score of the delay that makes even the fastest box later than `time`."""
        return np.clip(self.score(time - body.minimum_days), LEAST_SCORE, MOST_SCORE)

    def _log_integrand(self, body: TransitBody, score: Array, time: float | Array) -> Array:
        return body.log_sf(time - self.days(score)) - 0.5 * score**2 - HALF_LOG_TWO_PI

    def _edges(self, body: TransitBody, time: Array, n_delay: int, n_body: int) -> Array:
        """Sorted delay scores, even in the score of the delay and in that of the body; shape (time, edges)."""
        top = self._top_score(body, time)[:, None]
        least = max(body.floor_score, LEAST_SCORE)
        body_top = np.clip(body.score(time), least, MOST_SCORE)[:, None]
        even = LEAST_SCORE + (top - LEAST_SCORE) * np.linspace(0.0, 1.0, n_delay + 1)
        body_days = body.days_at(least + (body_top - least) * np.linspace(0.0, 1.0, n_body + 1))
        return np.sort(np.hstack([even, np.clip(self.score(time[:, None] - body_days), LEAST_SCORE, top)]), axis=1)

    def _log_sf_integral(self, body: TransitBody, time: Array) -> Array:
        top = self._top_score(body, time)
        least = max(body.floor_score, LEAST_SCORE)
        body_width = float(np.max(np.clip(body.score(time), least, MOST_SCORE))) - least
        n_delay = int(np.ceil((float(np.max(top)) - LEAST_SCORE) / PANEL_WIDTH)) + 1
        edge = self._edges(body, time, n_delay, int(np.ceil(body_width / PANEL_WIDTH)) + 1)
        half = 0.5 * np.diff(edge)[:, :, None]
        score = edge[:, :-1, None] + half * (1.0 + _NODE)
        log_f = self._log_integrand(body, score, time[:, None, None])
        peak = np.max(log_f, axis=(1, 2), keepdims=True)
        peak[~np.isfinite(peak)] = 0.0
        integral = np.sum(np.exp(log_f - peak) * half * _NODE_WEIGHT, axis=(1, 2))
        with np.errstate(divide="ignore"):
            return np.asarray(np.logaddexp(np.log(integral) + peak[:, 0, 0], log_ndtr(-top)))


@dataclass(frozen=True)
class MissedFlights:
    """With chance `share` k >= 1 flights are missed, P(k) = (1 - again_share) * again_share^(k - 1).

    Attributes
    ----------
    share : float
        Chance of a delay, 0-1.
    interval_days : float
        Time between flights.
    again_share : float
        Chance that a box which missed a flight misses the next one too, 0 to below 1.
    """

    share: float
    interval_days: float
    again_share: float

    def __post_init__(self) -> None:
        _check_share(self.share)
        _check_positive("interval_days", self.interval_days)
        if not 0.0 <= self.again_share < 1.0:
            raise ValueError("again_share: at least 0 and below 1")

    def with_share(self, share: float) -> Self:
        """Return the same delay with another chance of happening."""
        return replace(self, share=share)

    def learned(self, share: float, size: float, again_share: float) -> Self:
        """Return the delay with another chance, flights so many times as far apart, and as many missed again."""
        return replace(self, share=share, interval_days=self.interval_days * size, again_share=again_share)

    def mean_days(self) -> float:
        """Return the mean delay given that there is one, days."""
        return self.interval_days / (1.0 - self.again_share)

    def sf(self, delay_days: ArrayLike) -> Array:
        """Return P(delay > delay_days) given that there is a delay."""
        return np.exp(self.log_sf(delay_days))

    def log_sf(self, delay_days: ArrayLike) -> Array:
        """Return log P(delay > delay_days) given that there is a delay."""
        n_short = np.floor(np.asarray(delay_days, dtype=np.float64) / self.interval_days)
        return self._log_more_than(np.maximum(n_short, 0.0))

    def draw(self, u: ArrayLike) -> Array:
        """Return the delay in days at cumulative chance u in [0, 1), given that there is one."""
        return self.days_at_log_sf(np.log1p(-np.asarray(u, dtype=np.float64)))

    def days_at_log_sf(self, log_sf: ArrayLike) -> Array:
        """Return the least delay in days that is exceeded with a chance of at most exp(log_sf)."""
        target = np.asarray(log_sf, dtype=np.float64)
        n_flights = np.ones(target.shape) if self.again_share == 0 else np.ceil(target / np.log(self.again_share))
        return self.interval_days * np.maximum(n_flights, 1.0)

    def log_sf_after(self, body: TransitBody, days: ArrayLike) -> Array:
        """Return log P(body + delay > days), of the shape of `days`: a finite sum, exact to rounding."""
        time = np.asarray(days, dtype=np.float64)
        if time.size == 0:
            return np.zeros(time.shape)
        k = np.arange(1.0, self._n_deciding(body, float(np.max(time))) + 1.0)
        return np.asarray(np.logaddexp.reduce(self._log_weights(body, time[..., None], k), axis=-1))

    def draw_late(self, body: TransitBody, elapsed_days: float, u: ArrayLike) -> Array:
        """Return the delay in days at cumulative chance u in [0, 1), given that body + delay > elapsed_days; exact."""
        chance = np.asarray(u, dtype=np.float64)
        k = np.arange(1.0, self._n_deciding(body, elapsed_days) + 1.0)
        log_weight = self._log_weights(body, np.asarray(elapsed_days), k)
        share = np.exp(log_weight - np.logaddexp.reduce(log_weight))
        below = np.concatenate([[0.0], np.cumsum(share[:-1])])
        n_flights = np.searchsorted(below, chance, side="right").astype(np.float64)
        last = n_flights == k.size
        # From the last on the box is late whatever the body, so the count of further flights has no memory.
        log_left = np.log1p(-chance[last]) - np.log(share[-1])
        further = self.days_at_log_sf(np.minimum(log_left, 0.0)) / self.interval_days
        n_flights[last] += further - 1.0
        return self.interval_days * n_flights

    def _n_deciding(self, body: TransitBody, most_days: float) -> int:
        """Least count of missed flights that makes a box later than most_days whatever the body, at least 1."""
        n_sure = np.floor(max(most_days - body.minimum_days, 0.0) / self.interval_days) + 1.0
        if self.again_share == 0:
            return 1
        return int(min(n_sure, np.ceil(-_LEAST_LOG_WEIGHT / np.log(self.again_share)) + 1.0))

    def _log_weights(self, body: TransitBody, time: Array, k: Array) -> Array:
        """Log of P(k) * P(body + k intervals > time), the last k standing for itself and all above."""
        log_chance = self._log_more_than(k - 1.0)
        log_chance[:-1] += np.log1p(-self.again_share)
        return log_chance + body.log_sf(time - k * self.interval_days)

    def _log_more_than(self, n_flights: Array) -> Array:
        if self.again_share == 0:
            return np.where(n_flights < 1.0, 0.0, -np.inf)
        return n_flights * float(np.log(self.again_share))


def drawn_score(u: ArrayLike, edge: Array, log_density: Array, log_tail: float) -> Array:
    """Return the normal score at cumulative chance u in [0, 1), of a density tabulated at edges.

    `log_tail` is the log of the mass so far above that a box is late whatever else: there the density is the normal's.
    """
    chance = np.asarray(u, dtype=np.float64)
    peak = max(float(np.max(log_density)), log_tail)
    density = np.exp(log_density - peak)
    below = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(edge))])
    total = below[-1] + np.exp(log_tail - peak)
    reached = chance * total
    # The mass still above decides in the tail; as a difference it would lose digits there.
    above = np.minimum(np.log1p(-chance) + np.log(total) + peak, log_tail)
    return np.asarray(np.where(reached < below[-1], np.interp(reached, below, edge), -ndtri_exp(above)))


Delay = NoDelay | HoldDelay | MissedFlights


def _check_share(share: float) -> None:
    if not 0.0 <= share <= 1.0:
        raise ValueError("share: between 0 and 1")


def _check_positive(name: str, value: float) -> None:
    if not 0.0 < value < np.inf:
        raise ValueError(f"{name}: above 0 and finite")
