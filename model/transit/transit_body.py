"""Transit time without delays: a skewed bell curve fixed by three quantiles and cut off below, all in closed form.

With z standard normal, T = location + scale * (exp(bend * z) - 1) / bend. A positive bend is a shifted log-normal,
bend 0 the normal, a negative bend a mirrored log-normal. Below `minimum_days` the curve is truncated and renormalised.
A strong left skew beside a close minimum leaves too little below the tenth percentile; then the same curve is laid on
log(T - minimum_days), which needs no truncation.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr, ndtri_exp

from model.quadrature import SCORE_P90

Array = NDArray[np.float64]

# Below this bend the normal limit is exact to 1e-8 of the scale, and quotients by the bend lose as much to rounding.
_FLAT_BEND = 1e-8
# Below this bend the mean is taken to second order, relative error below 1e-9.
_NEARLY_FLAT_BEND = 1e-5
HALF_LOG_TWO_PI = 0.5 * float(np.log(2.0 * np.pi))
MOST_SCORE = 38.0
# Scores beyond this carry less than 1e-16 of the mass.
_FAR_SCORE = 8.5
# Gauss-Legendre nodes for the mean of the curve on the log scale.
_MEAN_NODES = 96


@dataclass(frozen=True)
class TransitBody:
    """Transit time of a box that meets no delay, days.

    Attributes
    ----------
    location, scale : float
        Median and spread before truncation, in days (of log days when `on_log`). Scale 0 is a point mass.
    bend : float
        Skewness: positive to the right, negative to the left.
    minimum_days : float
        No box is faster.
    on_log : bool
        The curve describes log(T - minimum_days) rather than T.
    """

    location: float
    scale: float
    bend: float
    minimum_days: float
    on_log: bool = False

    @classmethod
    def point(cls, days: float) -> Self:
        """Return the fixed time `days`."""
        return cls(float(days), 0.0, 0.0, float(days))

    @classmethod
    def from_quantiles(cls, p10: float, p50: float, p90: float, minimum_days: float, *, on_log: bool = False) -> Self:
        """Return the curve with these quantiles before truncation (exactly these when `on_log`).

        Needs p10 < p50 < p90, and minimum_days < p10 when `on_log`.
        """
        low, middle, high = (float(np.log(p - minimum_days)) if on_log else p for p in (p10, p50, p90))
        bend = float(np.log(high - middle) - np.log(middle - low)) / SCORE_P90
        if abs(bend) < _FLAT_BEND:
            return cls(middle, (high - low) / (2.0 * SCORE_P90), 0.0, minimum_days, on_log)
        scale = (high - middle) * bend / float(np.expm1(bend * SCORE_P90))
        return cls(middle, scale, bend, minimum_days, on_log)

    @property
    def longest_days(self) -> float:
        """Upper end of the support, days; infinite unless skewed to the left or a point."""
        return float(self.days_at(np.inf)) if self.scale else self.location

    @property
    def cut_share(self) -> float:
        """Mass of the curve that lay below the minimum before truncation, 0-1."""
        return float(-np.expm1(self._log_kept))

    @cached_property
    def floor_score(self) -> float:
        """Normal score of the minimum before truncation; minus infinity where nothing is cut off."""
        return -np.inf if self.on_log or not self.scale else float(self.score(self.minimum_days))

    @cached_property
    def _log_kept(self) -> float:
        return float(log_ndtr(-self.floor_score))

    def score(self, days: ArrayLike) -> Array:
        """Return z such that the curve before truncation gives `days`; needs a positive scale."""
        time = np.asarray(days, dtype=np.float64)
        with np.errstate(divide="ignore"):
            if self.on_log:
                time = np.log(np.maximum(time - self.minimum_days, 0.0))
            distance = (time - self.location) / self.scale
            if self.bend == 0:
                return np.asarray(distance)
            return np.asarray(np.log1p(np.maximum(self.bend * distance, -1.0)) / self.bend)

    def days_at(self, score: ArrayLike) -> Array:
        """Return the days at normal score z of the curve before truncation."""
        z = np.asarray(score, dtype=np.float64)
        with np.errstate(over="ignore"):
            time = self.location + self.scale * (np.expm1(self.bend * z) / self.bend if self.bend else z)
            return np.asarray(self.minimum_days + np.exp(time) if self.on_log else time)

    def log_sf(self, days: ArrayLike) -> Array:
        """Return log P(T > days), of the shape of `days`, right far out in the tail."""
        time = np.asarray(days, dtype=np.float64)
        if not self.scale:
            return np.where(time < self.location, 0.0, -np.inf)
        log_sf = log_ndtr(-self.score(time)) - self._log_kept
        return np.where(time <= self.minimum_days, 0.0, np.minimum(log_sf, 0.0))

    def log_density(self, days: ArrayLike) -> Array:
        """Return the log density of T at `days`, per day, of their shape; minus infinity where no box ends.

        Raises
        ------
        ValueError
            For a fixed time, which has no density.
        """
        if not self.scale:
            raise ValueError("log_density: a fixed time has none")
        time = np.asarray(days, dtype=np.float64)
        with np.errstate(divide="ignore", invalid="ignore"):
            z = self.score(time)
            log_slope = np.log(self.scale) + self.bend * z
            if self.on_log:
                log_slope = log_slope + np.log(time - self.minimum_days)
            log_density = -0.5 * z * z - HALF_LOG_TWO_PI - log_slope - self._log_kept
        return np.where((time > self.minimum_days) & np.isfinite(z), log_density, -np.inf)

    def days_at_log_sf(self, log_sf: ArrayLike) -> Array:
        """Return the days that are exceeded with chance exp(log_sf): the inverse of `log_sf`."""
        target = np.asarray(log_sf, dtype=np.float64)
        if not self.scale:
            return np.full(target.shape, self.location)
        # One form for both tails: ndtri_exp keeps its accuracy near log 1 as well as far below.
        return np.maximum(self.days_at(-ndtri_exp(target + self._log_kept)), self.minimum_days)

    def quantile(self, u: ArrayLike) -> Array:
        """Return the days not exceeded with chance u in [0, 1)."""
        return self.days_at_log_sf(np.log1p(-np.asarray(u, dtype=np.float64)))

    def quantile_above(self, u: ArrayLike, elapsed_days: ArrayLike) -> Array:
        """Return quantile u in [0, 1) of T given T > elapsed_days, by exact truncation; the arguments broadcast.

        Elapsed times must be short of `longest_days`.
        """
        elapsed = np.asarray(elapsed_days, dtype=np.float64)
        log_sf = np.log1p(-np.asarray(u, dtype=np.float64)) + self.log_sf(elapsed)
        return np.maximum(self.days_at_log_sf(log_sf), elapsed)

    def mean_days(self) -> float:
        """Return E[T] in days; closed form, but on the log scale by Gauss-Legendre quadrature (error below 1e-9)."""
        if not self.scale:
            return self.location
        if self.on_log:
            node, weight = np.polynomial.legendre.leggauss(_MEAN_NODES)
            z = _FAR_SCORE * node
            density = np.exp(-0.5 * z * z) * weight
            return float(np.sum(density * self.days_at(z)) / np.sum(density))
        floor = max(self.floor_score, -MOST_SCORE)
        if abs(self.bend) < _NEARLY_FLAT_BEND:
            # To second order in the bend, by the inverse Mills ratio at the cut; the closed form would cancel.
            ratio = np.exp(-0.5 * floor * floor - self._log_kept) / np.sqrt(2.0 * np.pi)
            return float(self.location + self.scale * (ratio + 0.5 * self.bend * (1.0 + floor * ratio)))
        # E exp(b z) over z > floor = exp(b^2 / 2) P(z > floor - b) / P(z > floor).
        log_moment = 0.5 * self.bend**2 + float(log_ndtr(self.bend - floor)) - self._log_kept
        with np.errstate(over="ignore"):
            return float(self.location + self.scale * np.expm1(log_moment) / self.bend)
