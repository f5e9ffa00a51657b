"""Draws from an approximation of the posterior, with their density, for importance weighting.

Theta is drawn first, then several x given each theta: the prior's part of x's mean and precision is exact for each
theta. Given theta, x follows a mixture of two Gaussians, one as if the data said less, so that its tails reach as far
as the posterior's (defensive importance sampling: Hesterberg 1995, Technometrics 37:185).
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from model.fit.conditionals import N_COMMON, Conditionals
from model.fit.hierarchy import DELTA, OUTER, Hierarchy, InnerPrior
from model.fit.pareto_smoothing import effective_draws
from model.fit.positive_definite import lower_factor
from model.prior import stratified_normals

Array = NDArray[np.float64]

# Wider than the approximation, so that the tails of the posterior are reached.
OUTER_INFLATION = 1.05
# Shares of the draws given a theta: as the data say, and as if they said less.
SHARES, NARROW = (0.75, 0.25), (1.0,)
# How much less: n parameters that the data tell of keep n / (n + this) of what is said, and no less than that.
LOST_PARAMETERS, LEAST_TEMPER = 10.0, 0.25
# Least precision of theta that a regression may leave, and its prior sd of a coefficient.
LEAST_PRECISION, COEFFICIENT_SD = 0.25, 2.0
LARGEST_MOVE = 3.0
# So many effective draws are trusted by half in what they say of means.
FEW_EFFECTIVE = 20.0
# Log density below the highest at which a draw is hardly trusted, and how much then.
TRUSTED_HEIGHT, LEAST_TRUST = 20.0, 0.01
# Matrices of so many cells in all are worked on at once.
MATRIX_CELLS = 4_000_000
# From here on theta moves the likelihood: shipment, line, Q10, chill rate, h0.
FIRST_OF_LIKELIHOOD = OUTER.index("shipment")
COMMON = slice(0, N_COMMON)


class Drawn(NamedTuple):
    """Draws: x (draws, p), theta (draws, 10), log density of the proposal and log prior of both (draws,).

    `centres` (thetas, p) are those of x given each theta, delta on its log scale; `n_replaced` draws were drawn again,
    since kappa came out at or below 0.
    """

    x: Array
    theta: Array
    log_q: Array
    log_prior: Array
    centres: Array
    n_replaced: int


class Described(NamedTuple):
    """Draws as places of the proposal: normals of theta (n, 10) and of x (n, p), and (n,) each the log densities of the
    narrow part and of the whole mixture, and the log prior."""

    outer: Array
    inner: Array
    log_narrow: Array
    log_mixed: Array
    log_prior: Array


@dataclass(frozen=True, eq=False)
class Proposal:
    """A Gaussian in theta, and x given theta; delta is on its log scale throughout.

    Attributes
    ----------
    hierarchy : Hierarchy
    theta, x : (10,), (p,)
        Centres; x at theta's centre.
    outer_covariance : (10, 10)
    data_precision : (p, p)
        The likelihood's part of the precision of x.
    drift : (p, 10)
        Change of x's centre with theta.
    """

    hierarchy: Hierarchy
    theta: Array
    x: Array
    outer_covariance: Array
    data_precision: Array
    drift: Array

    def given(self, thetas: Array, temper: float = 1.0) -> Conditionals:
        """Return x given each theta, as if the data said only `temper` as much.

        Centres solve (data's precision + prior's) centre = data's pull + prior's precision x mean with the prior exact
        for each theta, so that effects shrink to their mean as their scale falls: along a straight line they would not,
        and small scales would get no weight. What theta moves in the likelihood (clock, h0, spread of boxes and lines)
        is linear.
        """
        own, mean, _ = self._prior(self.theta[None])
        data = temper * self.data_precision
        pull = temper * (self.data_precision @ self.x + own[0] @ (self.x - mean[0]))
        own, mean, prior = self._prior(thetas)
        moved = (thetas - self.theta)[:, FIRST_OF_LIKELIHOOD:] @ self.drift[:, FIRST_OF_LIKELIHOOD:].T
        return Conditionals.of(data + own, pull + (own @ mean[..., None])[..., 0], prior, moved)

    def _prior(self, thetas: Array) -> tuple[Array, Array, InnerPrior]:
        """Return precisions and means of x's prior given thetas; that of log delta is a parabola."""
        prior = self.hierarchy.inner(thetas)
        precision, mean = prior.precision(self.x), prior.full_mean()
        precision[:, DELTA, DELTA] = prior.delta_shape
        mean[:, DELTA] = self.x[DELTA] + 1.0 - prior.delta_rate * np.exp(self.x[DELTA]) / prior.delta_shape
        return precision, mean, prior

    def _runs(self, n_thetas: int) -> list[slice]:
        """Return runs of thetas whose matrices fit the memory."""
        at_once = max(MATRIX_CELLS // len(self.x) ** 2, 1)
        return [slice(first, min(first + at_once, n_thetas)) for first in range(0, n_thetas, at_once)]

    def draw(
        self, n_thetas: int, a_theta: int, *, shares: tuple[float, ...] = SHARES, rng: np.random.Generator
    ) -> Drawn:
        """Return `n_thetas` x `a_theta` draws, `shares` of them from each part of the mixture."""
        p = len(self.x)
        outer_normals = stratified_normals(n_thetas, len(self.theta), rng=rng).T
        thetas = self.theta + outer_normals @ self._outer_spread().T
        x, log_q = np.empty((n_thetas, a_theta, p)), np.empty((n_thetas, a_theta))
        log_prior, centres = np.empty((n_thetas, a_theta)), np.empty((n_thetas, p))
        part = rng.choice(len(shares), (n_thetas, a_theta), p=shares)
        tempers = (1.0, self._wide_temper())[: len(shares)]
        n_replaced = 0
        for rows in self._runs(n_thetas):
            mixed = [self.given(thetas[rows], temper) for temper in tempers]
            logs = np.empty((len(thetas[rows]), a_theta, p))
            for k, given in enumerate(mixed):
                drawn, again = given.draw(a_theta, rng=rng)
                own = part[rows] == k
                logs[own] = drawn[own]
                n_replaced += int((own & again).sum())
            densities = [np.log(share) + given.log_density(logs) for share, given in zip(shares, mixed, strict=True)]
            log_q[rows] = np.logaddexp.reduce(densities) + self._outer_log_density(outer_normals[rows])[:, None]
            centres[rows], x[rows] = mixed[0].centre, natural(logs)
            log_prior[rows] = self._log_prior(thetas[rows], x[rows], mixed[0].prior)
        return Drawn(
            x=x.reshape(-1, p),
            theta=np.repeat(thetas, a_theta, axis=0),
            log_q=log_q.ravel(),
            log_prior=log_prior.ravel(),
            centres=centres,
            n_replaced=n_replaced,
        )

    def _log_prior(self, thetas: Array, x: Array, prior: InnerPrior) -> Array:
        """Return the log prior of thetas and of x given each, (thetas, n)."""
        density = np.stack([prior.log_density(x[:, i]) for i in range(x.shape[1])], axis=1)
        both: Array = self.hierarchy.outer_log_density(thetas)[:, None] + density
        return both

    def thetas_at(self, outer: Array) -> Array:
        """Return the thetas, (n, 10), at standard normals of the same shape."""
        thetas: Array = self.theta + outer @ self._outer_spread().T
        return thetas

    def outer_of(self, thetas: Array) -> Array:
        """Return the standard normals of thetas, (n, 10)."""
        normals: Array = linalg.solve_triangular(self._outer_spread(), (thetas - self.theta).T, lower=True).T
        return normals

    def x_at(self, thetas: Array, inner: Array) -> Array:
        """Return the x at standard normals of the narrow part, one a theta, (n, p) each."""
        x = np.empty_like(inner)
        for rows in self._runs(len(thetas)):
            x[rows] = natural(self.given(thetas[rows]).at(inner[rows, None]))[:, 0]
        return x

    def described(self, thetas: Array, x: Array) -> "Described":
        """Return what is known of draws, one x a theta, wherever they come from."""
        n, p = x.shape
        logs = x.copy()
        logs[:, DELTA] = np.log(x[:, DELTA])
        outer, inner = self.outer_of(thetas), np.empty((n, p))
        log_narrow, log_mixed, log_prior = np.empty(n), np.empty(n), np.empty(n)
        for rows in self._runs(n):
            parts = [self.given(thetas[rows], temper) for temper in (1.0, self._wide_temper())]
            densities = np.stack([given.log_density(logs[rows, None])[:, 0] for given in parts])
            of_outer = self._outer_log_density(outer[rows])
            log_narrow[rows] = densities[0] + of_outer
            log_mixed[rows] = np.logaddexp.reduce(densities + np.log(SHARES)[:, None]) + of_outer
            inner[rows] = parts[0].normals_of(logs[rows, None])[:, 0]
            log_prior[rows] = self._log_prior(thetas[rows], x[rows, None], parts[0].prior)[:, 0]
        return Described(outer, inner, log_narrow, log_mixed, log_prior)

    def _wide_temper(self) -> float:
        """Return how much of the data's precision the wide part follows.

        The more directions are widened, the less each may be: with many, no draw would keep its weight.
        """
        own, _, _ = self._prior(self.theta[None])
        factor = lower_factor(self.data_precision + own[0])
        told = float(np.trace(linalg.cho_solve((factor, True), self.data_precision, check_finite=False)))
        return max(told / (told + LOST_PARAMETERS), LEAST_TEMPER)

    def _outer_log_density(self, normals: Array) -> Array:
        """Return the log density of thetas at their standard normals, (n, 10), without constants; (n,)."""
        height = np.log(np.diagonal(self._outer_spread())).sum()
        density: Array = -height - 0.5 * (normals**2).sum(axis=1)
        return density

    def _outer_spread(self) -> Array:
        return lower_factor(OUTER_INFLATION**2 * self.outer_covariance)

    def fitted(self, drawn: Drawn, log_weights: Array, a_theta: int) -> "Proposal":
        """Return the proposal fitted to the log weights of its draws, `a_theta` given each theta.

        Theta's Gaussian takes up what a quadratic in theta explains of their means. (alpha, kappa, log delta) move to
        their weighted means, and the effects follow by regression, since their own means would be noise.
        """
        logs = drawn.x.copy()
        logs[:, DELTA] = np.log(logs[:, DELTA])
        weights = special.softmax(log_weights)
        effective = effective_draws(log_weights)
        # Against the draws' own means, which lie off the centres where kappa is cut off at 0.
        gap = (weights - 1.0 / len(weights)) @ (logs - np.repeat(drawn.centres, a_theta, axis=0))
        gap *= effective / (effective + FEW_EFFECTIVE)
        heights = log_weights.reshape(-1, a_theta).mean(axis=1)
        theta, covariance = self._outer_fitted(drawn.theta[::a_theta], heights)
        both = self.given(np.stack([self.theta, theta]))
        columns = both.covaried(np.eye(len(self.x), N_COMMON))[0]
        move = columns @ np.linalg.solve(columns[COMMON], gap[COMMON])
        return replace(self, theta=theta, outer_covariance=covariance, x=both.centre[1] + move)

    def _outer_fitted(self, thetas: Array, heights: Array) -> tuple[Array, Array]:
        """Return theta's centre and covariance after a quadratic, fitted to `heights`, is added to its log density."""
        spread = self._outer_spread()
        z = linalg.solve_triangular(spread, (thetas - self.theta).T, lower=True).T
        n = len(self.theta)
        first, second = np.triu_indices(n)
        design = np.column_stack([np.ones(len(z)), z, z[:, first] * z[:, second]])
        ridge = np.full(design.shape[1], COEFFICIENT_SD**-2.0)
        ridge[0] = 0.0
        trust = np.maximum(1.0 + (heights - heights.max()) / TRUSTED_HEIGHT, 0.0) + LEAST_TRUST
        weighted = design * trust[:, None]
        b = np.linalg.solve(design.T @ weighted + np.diag(ridge), weighted.T @ heights)
        slope, quadratic = b[1 : n + 1], np.zeros((n, n))
        quadratic[first, second] = b[n + 1 :]
        values, vectors = np.linalg.eigh(np.eye(n) - quadratic - quadratic.T)
        values = np.maximum(values, LEAST_PRECISION)
        move = vectors @ (vectors.T @ slope / values)
        move *= min(1.0, LARGEST_MOVE / float(np.linalg.norm(move)))
        covariance = (vectors / values) @ vectors.T
        return self.theta + spread @ move, spread @ covariance @ spread.T


def natural(logs: Array) -> Array:
    """Return x, (..., p), of x with delta on its log scale."""
    x = logs.copy()
    x[..., DELTA] = np.exp(logs[..., DELTA])
    return x
