"""The prior of the fit: parameters and effects given scales and thermal parameters, and the prior of those.

Inner parameters x = (alpha, kappa, delta, effects by kind); outer parameters theta = logs of the six scales, of Q10 -
1, of the chill rate and of h0, and the log odds to be lost whole, all normal.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.observations import Observations
from model.plant import (
    DRIFT_CORRELATION,
    KINDS,
    LEARNED_SCALES,
    SCALE_OF_KIND,
    UNNAMED,
    Level,
    total_spread,
    unit_sd,
)
from model.prior import PriorTable, solve_prior
from model.reference import Reference

Array = NDArray[np.float64]

OUTER = (*LEARNED_SCALES, "q10_less_one", "chill_rate", "h0", "lost_whole")
LOG_ODDS_LOST = OUTER.index("lost_whole")
ALPHA, KAPPA, DELTA, FIRST_EFFECT = 0, 1, 2, 3


def drift_precision(levels: Sequence[Level]) -> tuple[Array, float]:
    """Return precision (n, n) and log determinant of unit-variance drift states (seller, quarter)."""
    n = len(levels)
    precision, log_det = np.eye(n), 0.0
    states = sorted((str(level[0]), int(level[1]), i) for i, level in enumerate(levels))
    for (seller, quarter, before), (other, later, after) in pairwise(states):
        if seller == other:
            rho = DRIFT_CORRELATION ** (later - quarter)
            innovation = 1.0 - rho**2
            # Markov chain: p(after | before) replaces the unit variance of `after`.
            precision[after, after] += 1.0 / innovation - 1.0
            precision[before, before] += rho**2 / innovation
            precision[before, after] -= rho / innovation
            precision[after, before] -= rho / innovation
            log_det -= np.log(innovation)
    return precision, float(log_det)


@dataclass(frozen=True, eq=False)
class InnerPrior:
    """The prior of x for one theta: Gaussian but for delta, which is gamma.

    Attributes
    ----------
    mean : (p,)
    precision : (p, p)
        Delta's row is zero.
    log_det : float
        Log determinant of the precision without delta.
    delta_shape, delta_rate : float
    """

    mean: Array
    precision: Array
    log_det: float
    delta_shape: float
    delta_rate: float

    def log_density(self, x: Array) -> float:
        """Return the log density of x with delta on its log scale, without constants that no theta changes."""
        gap = x - self.mean
        delta = self.delta_shape * np.log(x[DELTA]) - self.delta_rate * x[DELTA]
        delta += self.delta_shape * np.log(self.delta_rate) - special.gammaln(self.delta_shape)
        return float(0.5 * self.log_det - 0.5 * gap @ self.precision @ gap + delta)

    def slope(self, x: Array) -> Array:
        """Return the gradient of `log_density` in natural delta, (p,)."""
        slope: Array = -self.precision @ (x - self.mean)
        slope[DELTA] += self.delta_shape / x[DELTA] - self.delta_rate
        return slope

    def curvature(self, x: Array) -> Array:
        """Return minus the second derivative, (p, p)."""
        curvature = self.precision.copy()
        curvature[DELTA, DELTA] += self.delta_shape / x[DELTA] ** 2
        return curvature


class Hierarchy:
    """Prior of all levels that a ledger has."""

    def __init__(self, observations: Observations, reference: Reference) -> None:
        """Take the levels of the observations."""
        self._reference = reference
        self.levels: Mapping[str, tuple[Level, ...]] = observations.levels
        self.slices: dict[str, slice] = {}
        start = FIRST_EFFECT
        for kind in KINDS:
            self.slices[kind] = slice(start, start + len(self.levels[kind]))
            start += len(self.levels[kind])
        self.n_inner = start
        rows = [reference.prior_scales[name] for name in OUTER]
        self.outer_mean = np.log([row.median for row in rows])
        self.outer_mean[LOG_ODDS_LOST] = special.logit(rows[LOG_ODDS_LOST].median)
        self.outer_sd = np.array([row.sd_log or np.nan for row in rows])
        self._unit_sd = np.ones(start)
        for kind in KINDS:
            self._unit_sd[self.slices[kind]] = [unit_sd(kind, level, reference) for level in self.levels[kind]]
        self._drift, self._drift_log_det = drift_precision(self.levels["drift"])

    @property
    def unknown_genus_variances(self) -> tuple[float, float]:
        """Variances of an unknown genus's effect, for a multiplier of 1, and of its group's."""
        genus, group = (unit_sd(kind, UNNAMED, self._reference) ** 2 for kind in ("genus", "group"))
        return genus, group

    @cached_property
    def table(self) -> PriorTable:
        """The rules of thumb, solved."""
        rows = self._reference.prior_scales
        return solve_prior(
            self._reference.rules, log_q10=float(np.log1p(rows["q10_less_one"].median)), h0=rows["h0"].median
        )

    def scales(self, theta: Array) -> dict[str, float]:
        """Return the six scales of a theta."""
        return {name: float(np.exp(theta[OUTER.index(name)])) for name in LEARNED_SCALES}

    def effect_sds(self, theta: Array) -> Array:
        """Return the prior sd of every inner parameter from the first effect on, as (p,); 1 for the first three."""
        sds = self._unit_sd.copy()
        for kind, scale in SCALE_OF_KIND.items():
            sds[self.slices[kind]] *= np.exp(theta[OUTER.index(scale)])
        return sds

    def inner(self, theta: Array) -> InnerPrior:
        """Return the prior of x given theta."""
        scales = {name: np.array([value]) for name, value in self.scales(theta).items()}
        mean2, covariance, delta_mean, delta_shape = self.table.at(total_spread(scales, self._reference))
        precision = np.zeros((self.n_inner, self.n_inner))
        inverse = np.linalg.inv(covariance[0])
        precision[:DELTA, :DELTA] = inverse
        sds = self.effect_sds(theta)[FIRST_EFFECT:]
        index = np.arange(FIRST_EFFECT, self.n_inner)
        precision[index, index] = sds**-2.0
        drift = self.slices["drift"]
        drift_scale = float(np.exp(theta[OUTER.index("drift")]))
        precision[drift, drift] = self._drift / drift_scale**2
        mean = np.zeros(self.n_inner)
        mean[:DELTA] = mean2[0]
        log_det = float(np.linalg.slogdet(inverse)[1] - 2.0 * np.log(sds).sum() + self._drift_log_det)
        shape = float(delta_shape[0])
        return InnerPrior(mean, precision, log_det, shape, shape / float(delta_mean[0]))

    def outer_log_density(self, theta: Array) -> float:
        """Return the log density of theta without constants."""
        return float(-0.5 * (((theta - self.outer_mean) / self.outer_sd) ** 2).sum())
