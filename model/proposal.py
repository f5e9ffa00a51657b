"""Draws from the Gaussian approximation of the posterior, with their density, for importance weighting.

Theta is drawn first, then several x given each theta: the mode of x moves with theta along a straight line, and the
prior's part of its precision is exact for each theta. Delta is drawn on its log scale.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from model.hierarchy import DELTA, Hierarchy
from model.priors import stratified_normals

Array = NDArray[np.float64]

DRAWS_A_THETA = 8
# Wider than the approximation, so that the tails of the posterior are reached.
OUTER_INFLATION = 1.05
COMMON = slice(0, DELTA + 1)


class Drawn(NamedTuple):
    """Draws: x (draws, p), theta (draws, 9), log density of the proposal and log prior of both (draws,)."""

    x: Array
    theta: Array
    log_q: Array
    log_prior: Array


@dataclass(frozen=True, eq=False)
class Proposal:
    """A Gaussian in theta, and one in x given theta.

    Attributes
    ----------
    hierarchy : Hierarchy
    theta, x : (9,), (p,)
        Centres; x at theta's centre.
    outer_covariance : (9, 9)
    data_precision : (p, p)
        The likelihood's part of the precision of x.
    drift : (p, 9)
        Change of x's centre with theta.
    shift : (p,)
        Added to x's centre, delta on its log scale.
    """

    hierarchy: Hierarchy
    theta: Array
    x: Array
    outer_covariance: Array
    data_precision: Array
    drift: Array
    shift: Array

    def centres(self, thetas: Array) -> Array:
        """Return the centres of x, delta on its log scale, (thetas, p)."""
        drift, centre = self.drift.copy(), self.x.copy()
        drift[DELTA] /= self.x[DELTA]
        centre[DELTA] = np.log(self.x[DELTA])
        centres: Array = centre + self.shift + (thetas - self.theta) @ drift.T
        return centres

    def precision(self, theta: Array) -> Array:
        """Return the precision of x, delta on its log scale, given theta, (p, p)."""
        to_log = np.ones(len(self.x))
        to_log[DELTA] = self.x[DELTA]
        prior = self.hierarchy.inner(theta)
        return positive((self.data_precision + prior.curvature(self.x)) * np.outer(to_log, to_log))

    def draw(self, n_thetas: int, *, rng: np.random.Generator) -> Drawn:
        """Return `n_thetas` x `DRAWS_A_THETA` draws."""
        p, n_outer = len(self.x), len(self.theta)
        spread = linalg.cholesky(OUTER_INFLATION**2 * self.outer_covariance, lower=True)
        outer_normals = stratified_normals(n_thetas, n_outer, rng=rng).T
        thetas = self.theta + outer_normals @ spread.T
        centres = self.centres(thetas)
        n = n_thetas * DRAWS_A_THETA
        x, log_q, log_prior = np.empty((n, p)), np.empty(n), np.empty(n)
        for i, theta in enumerate(thetas):
            rows = slice(i * DRAWS_A_THETA, (i + 1) * DRAWS_A_THETA)
            prior = self.hierarchy.inner(theta)
            factor = linalg.cholesky(self.precision(theta), lower=True, check_finite=False)
            normals = rng.standard_normal((DRAWS_A_THETA, p))
            x[rows] = centres[i] + linalg.solve_triangular(factor, normals.T, trans="T", lower=True).T
            x[rows, DELTA] = np.exp(x[rows, DELTA])
            log_q[rows] = np.log(np.diag(factor)).sum() - 0.5 * (normals**2).sum(axis=1)
            log_q[rows] -= 0.5 * float((outer_normals[i] ** 2).sum())
            outer = self.hierarchy.outer_log_density(theta)
            log_prior[rows] = [outer + prior.log_density(row) for row in x[rows]]
        return Drawn(x, np.repeat(thetas, DRAWS_A_THETA, axis=0), log_q, log_prior)

    def recentred(self, drawn: Drawn, weights: Array) -> "Proposal":
        """Return the proposal moved to the weighted means of draws.

        Means of theta and of (alpha, kappa, log delta) are taken from the weights; the effects follow by regression,
        since their own means would be noise.
        """
        logs = drawn.x.copy()
        logs[:, DELTA] = np.log(logs[:, DELTA])
        theta = weights @ drawn.theta
        gap = weights @ (logs - self.centres(drawn.theta))
        covariance = linalg.inv(self.precision(self.theta))
        shift = covariance[:, COMMON] @ np.linalg.solve(covariance[COMMON, COMMON], gap[COMMON])
        moved = self.x + self.drift @ (theta - self.theta)
        moved[DELTA] = self.x[DELTA] * np.exp(self.drift[DELTA] @ (theta - self.theta) / self.x[DELTA])
        return replace(self, theta=theta, x=moved, shift=self.shift + shift)


def without_negative(matrix: Array) -> Array:
    """Return a symmetric matrix with negative eigenvalues raised to 0: the prior's precision alone counts there."""
    values, vectors = np.linalg.eigh(matrix)
    raised: Array = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return raised


def positive(matrix: Array, floor: Array | None = None) -> Array:
    """Return a symmetric matrix with eigenvalues raised to the least of a floor's, or to just above 0."""
    try:
        if floor is None:
            np.linalg.cholesky(matrix)
            return matrix
    except np.linalg.LinAlgError:
        pass
    values, vectors = np.linalg.eigh(matrix)
    least = 1e-8 * float(values[-1]) if floor is None else float(np.linalg.eigvalsh(floor)[0])
    if values[0] >= least:
        return matrix
    raised: Array = (vectors * np.maximum(values, least)) @ vectors.T
    return raised
