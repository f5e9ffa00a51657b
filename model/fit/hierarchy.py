"""The prior of the fit: parameters and effects given scales and thermal parameters, and the prior of those.

Inner parameters x = (alpha, kappa, delta, effects by kind); outer parameters theta = logs of the six scales, of Q10 -
1, of the chill rate and of h0, and the log odds to be lost whole, all normal.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.exposure import Indices
from model.fit.lines import CONSIGNMENT
from model.fit.observations import Observations
from model.plant import (
    DEGREES,
    DRIFT_CORRELATION,
    KINDS,
    LEARNED_SCALES,
    SCALE_OF_KIND,
    STUDENT_SCALE,
    TABULATED_KINDS,
    UNNAMED,
    Level,
    total_spread,
    unit_sd,
)
from model.prior import PriorTable, solve_prior
from model.reference import CONSTANTS, Reference

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

OUTER = (*LEARNED_SCALES, "q10_less_one", "chill_rate", "h0", "lost_whole")
LOG_ODDS_LOST = OUTER.index("lost_whole")
ALPHA, KAPPA, DELTA, FIRST_EFFECT = 0, 1, 2, 3
# Kinds of effects of a fit, consignments last, and the learned scales that multiply their sds.
FIT_KINDS = (*KINDS, CONSIGNMENT)
FIT_SCALES = {**SCALE_OF_KIND, CONSIGNMENT: "shipment"}
# What of `InnerPrior` differs between thetas.
BY_THETA = ("mean", "common", "sds", "delta_shape", "delta_rate")


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
    """The prior of x for one theta or for several, one axis in front: `...` is () or (thetas,).

    (alpha, kappa) and most effects are Gaussian, delta is gamma, and deviations from tabulated time ratios are
    Student's t. Where a Gaussian is wanted in place of a Student, it is the one with the same slope there, which lies
    below it everywhere else (as in fitting a t by weights: Lange, Little & Taylor 1989, JASA 84:881).

    Attributes
    ----------
    mean : (..., 2)
        Of alpha and kappa; that of effects is 0.
    common : (..., 2, 2)
        Precision of alpha and kappa.
    sds : (..., p)
        Prior sds of effects (a Student's: that of the normal with the same middle 80 %); the first three do not count.
    student : (p,)
        Which effects are Student's t.
    drift : slice
        Where drift states are; their precision is theirs for an sd of 1, (states, states), by their sds.
    drift_precision : (states, states)
    drift_log_det : float
    delta_shape, delta_rate : (...)
    """

    mean: Array
    common: Array
    sds: Array
    student: NDArray[np.bool_]
    drift: slice
    drift_precision: Array
    drift_log_det: float
    delta_shape: Array
    delta_rate: Array

    def log_density(self, x: Array) -> Array:
        """Return the log density of x, (..., p), with delta on its log scale, without constants; (...)."""
        gap = x[..., :DELTA] - self.mean
        common = 0.5 * np.linalg.slogdet(self.common)[1] - 0.5 * np.einsum("...i,...ij,...j", gap, self.common, gap)
        z = x[..., FIRST_EFFECT:] / self.sds[..., FIRST_EFFECT:]
        student = self.student[FIRST_EFFECT:]
        scaled = z[..., student] / STUDENT_SCALE
        effects = -0.5 * (DEGREES + 1.0) * np.log1p(scaled**2 / DEGREES).sum(axis=-1)
        plain = ~student
        plain[self.drift.start - FIRST_EFFECT : self.drift.stop - FIRST_EFFECT] = False
        effects = effects - 0.5 * (z[..., plain] ** 2).sum(axis=-1) - np.log(self.sds[..., FIRST_EFFECT:]).sum(axis=-1)
        states = z[..., self.drift.start - FIRST_EFFECT : self.drift.stop - FIRST_EFFECT]
        drift = 0.5 * self.drift_log_det - 0.5 * np.einsum("...i,ij,...j", states, self.drift_precision, states)
        delta = self.delta_shape * np.log(x[..., DELTA]) - self.delta_rate * x[..., DELTA]
        delta = delta + self.delta_shape * np.log(self.delta_rate) - special.gammaln(self.delta_shape)
        total: Array = common + effects + drift + delta
        return total

    def precision(self, at: Array) -> Array:
        """Return the precision of the Gaussian part, (..., p, p), of a Student at x (p,); delta's row is 0."""
        weights = self.weights(at)
        p = len(self.student)
        index = np.arange(FIRST_EFFECT, p)
        precision = np.zeros((*self.sds.shape, p))
        precision[..., :DELTA, :DELTA] = self.common
        precision[..., index, index] = weights[..., FIRST_EFFECT:]
        own = self.sds[..., self.drift]
        precision[..., self.drift, self.drift] = self.drift_precision / (own[..., :, None] * own[..., None, :])
        return precision

    def expected_squares(self, x: Array, variance: Array) -> Array:
        """Return the mean of -d log density / d log sd + 1 of each effect, (..., p), at mean x and variance, (p,) each.

        That of a Student is taken where its square is the mean one; drift states are not meant.
        """
        second = x**2 + variance
        squares: Array = second * self.weights(np.sqrt(second))
        return squares

    def weights(self, x: Array) -> Array:
        """Return the precision of each effect by itself, (..., p); a Student's is that of its Gaussian at x."""
        scale2 = (STUDENT_SCALE * self.sds) ** 2
        heavy = (DEGREES + 1.0) / (DEGREES * scale2 + x**2)
        weights: Array = np.where(self.student, heavy, self.sds**-2.0)
        return weights

    def slope(self, x: Array) -> Array:
        """Return the gradient of `log_density` for one theta in natural delta, (p,)."""
        gap = x.copy()
        gap[:DELTA] -= self.mean
        slope: Array = -self.precision(x) @ gap
        slope[DELTA] += self.delta_shape / x[DELTA] - self.delta_rate
        return slope

    def curvature(self, x: Array) -> Array:
        """Return minus the second derivative for one theta, (p, p); of a Student that of its Gaussian."""
        curvature = self.precision(x)
        curvature[DELTA, DELTA] += self.delta_shape / x[DELTA] ** 2
        return curvature

    def of_thetas(self, rows: Indices | Mask | int) -> "InnerPrior":
        """Return the prior of x for some of the thetas, or for one."""
        return replace(self, **{name: getattr(self, name)[rows] for name in BY_THETA})

    def put(self, rows: Mask, other: "InnerPrior") -> "InnerPrior":
        """Return the prior with that of other thetas in the place of some."""
        arrays = {name: getattr(self, name).copy() for name in BY_THETA}
        for name, array in arrays.items():
            array[rows] = getattr(other, name)
        return replace(self, **arrays)

    def gaussian(self, sds: Array) -> "InnerPrior":
        """Return the prior with other sds of the effects, (..., p), none of which is a Student's."""
        return replace(self, sds=sds, student=np.zeros_like(self.student))

    def full_mean(self) -> Array:
        """Return the mean of the Gaussian part, (..., p)."""
        mean = np.zeros(self.sds.shape)
        mean[..., :DELTA] = self.mean
        return mean


class Hierarchy:
    """Prior of all levels that a ledger has."""

    def __init__(
        self, observations: Observations, reference: Reference, *, heavy: tuple[str, ...] = TABULATED_KINDS
    ) -> None:
        """Take the levels of the observations; deviations of `heavy` kinds are Student's t."""
        self._reference = reference
        self.levels: Mapping[str, tuple[Level, ...]] = observations.levels
        self.slices: dict[str, slice] = {}
        start = FIRST_EFFECT
        for kind in FIT_KINDS:
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
        self._unit_sd[self.slices[CONSIGNMENT]] = np.sqrt(CONSTANTS.consignment_share)
        self._student = np.zeros(start, dtype=bool)
        for kind in heavy:
            self._student[self.slices[kind]] = True
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

    def scales(self, theta: Array) -> dict[str, Array]:
        """Return the six scales of a theta or of several, (..., 10): (...) each."""
        return {name: np.exp(theta[..., OUTER.index(name)]) for name in LEARNED_SCALES}

    def log_q10(self, theta: Array) -> Array:
        """Return log Q10 of a theta or of several, (...)."""
        log_q10: Array = np.log1p(np.exp(theta[..., OUTER.index("q10_less_one")]))
        return log_q10

    def h0(self, theta: Array) -> Array:
        """Return h0 of a theta or of several, (...)."""
        h0: Array = np.exp(theta[..., OUTER.index("h0")])
        return h0

    def effect_sds(self, theta: Array) -> Array:
        """Return the prior sd of every inner parameter from the first effect on, as (..., p); 1 for the first three."""
        sds = np.tile(self._unit_sd, (*theta.shape[:-1], 1))
        for kind, scale in FIT_SCALES.items():
            sds[..., self.slices[kind]] *= np.exp(theta[..., OUTER.index(scale), None])
        return sds

    def inner(self, theta: Array) -> InnerPrior:
        """Return the prior of x given a theta, (10,), or given several, (thetas, 10)."""
        mean, covariance, delta_mean, shape = self.table.at(total_spread(self.scales(theta), self._reference))
        common = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
        return InnerPrior(
            mean=mean,
            common=common,
            sds=self.effect_sds(theta),
            student=self._student,
            drift=self.slices["drift"],
            drift_precision=self._drift,
            drift_log_det=self._drift_log_det,
            delta_shape=shape,
            delta_rate=shape / delta_mean,
        )

    def outer_log_density(self, theta: Array) -> Array:
        """Return the log density of theta, (..., 10), without constants; (...)."""
        density: Array = -0.5 * (((theta - self.outer_mean) / self.outer_sd) ** 2).sum(axis=-1)
        return density
