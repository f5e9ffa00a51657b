"""Draws from an approximation of the posterior, with their density, for importance weighting.

Theta is drawn first, then several x given each theta: the prior's part of x's mean and precision is exact for each
theta. Given theta, x follows a mixture of two Gaussians, one as if the data said less, so that its tails reach as far
as the posterior's (defensive importance sampling: Hesterberg 1995, Technometrics 37:185).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from model.fit.hierarchy import DELTA, KAPPA, OUTER, Hierarchy, InnerPrior
from model.fit.pareto_smoothing import effective_draws
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
# Least eigenvalue of a matrix that is made positive definite, as a share of its largest.
LEAST_SHARE = 1e-6
# So many effective draws are trusted by half in what they say of means.
FEW_EFFECTIVE = 20.0
# Log density below the highest at which a draw is hardly trusted, and how much then.
TRUSTED_HEIGHT, LEAST_TRUST = 20.0, 0.01
# From here on theta moves the likelihood: shipment, line, Q10, chill rate, h0.
FIRST_OF_LIKELIHOOD = OUTER.index("shipment")
N_COMMON = DELTA + 1
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


@dataclass(frozen=True, eq=False)
class Conditional:
    """x given theta, delta on its log scale: a Gaussian cut off where kappa is not above 0.

    Attributes
    ----------
    centre : (p,)
        Of the Gaussian that is cut off.
    order : (p,)
        The inner parameters with kappa last.
    factor : (p, p)
        Lower Cholesky factor of the precision in that order.
    prior : InnerPrior
    """

    centre: Array
    order: NDArray[np.intp]
    factor: Array
    prior: InnerPrior

    @classmethod
    def of(cls, precision: Array, pull: Array, prior: InnerPrior, move: Array) -> "Conditional":
        """Take a precision, precision x centre, and what is added to the centre."""
        p = len(pull)
        order = np.append(np.delete(np.arange(p), KAPPA), KAPPA)
        factor = lower_factor(precision[np.ix_(order, order)])
        given = cls(np.empty(p), order, factor, prior)
        given.centre[:] = given.covaried(pull) + move
        return given

    def covaried(self, columns: Array) -> Array:
        """Return covariance x columns, (p, ...)."""
        solved = np.empty_like(columns)
        solved[self.order] = linalg.cho_solve((self.factor, True), columns[self.order], check_finite=False)
        return solved

    def steps(self, normals: Array) -> Array:
        """Return steps from the centre, (n, p), of standard normals in `order`."""
        steps = np.empty_like(normals)
        solved = linalg.solve_triangular(self.factor, normals.T, trans="T", lower=True, check_finite=False)
        steps[:, self.order] = solved.T
        return steps

    def draw(self, n: int, *, rng: np.random.Generator) -> tuple[Array, int]:
        """Return draws (n, p), and how many were drawn again since their kappa was not above 0."""
        normals = rng.standard_normal((n, len(self.centre)))
        low = np.flatnonzero(normals[:, -1] <= -self._kappa_sds)
        # By logs of the upper tail, so that a centre far below 0 does no harm.
        tail = np.log1p(-rng.random(len(low))) + special.log_ndtr(self._kappa_sds)
        normals[low, -1] = -special.ndtri_exp(tail)
        x = self.centre + self.steps(normals)
        x[:, KAPPA] = np.maximum(x[:, KAPPA], np.finfo(float).tiny)
        return x, len(low)

    def log_density(self, x: Array) -> Array:
        """Return the log density of x, (n, p), without constants that no theta changes; (n,)."""
        normals = (x - self.centre)[:, self.order] @ self.factor
        density: Array = np.log(np.diag(self.factor)).sum() - 0.5 * (normals**2).sum(axis=1)
        return density - special.log_ndtr(self._kappa_sds)

    @property
    def _kappa_sds(self) -> float:
        """How many sds the centre's kappa lies above 0."""
        return float(self.centre[KAPPA] * self.factor[-1, -1])


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

    def given(self, thetas: Array, temper: float = 1.0) -> Iterator[Conditional]:
        """Yield x given each theta, as if the data said only `temper` as much.

        Centres solve (data's precision + prior's) centre = data's pull + prior's precision x mean with the prior exact
        for each theta, so that effects shrink to their mean as their scale falls: along a straight line they would not,
        and small scales would get no weight. What theta moves in the likelihood (clock, h0, spread of boxes and lines)
        is linear.
        """
        own, mean, _ = self._prior(self.theta)
        data = temper * self.data_precision
        pull = temper * (self.data_precision @ self.x + own @ (self.x - mean))
        for theta in thetas:
            own, mean, prior = self._prior(theta)
            moved = self.drift[:, FIRST_OF_LIKELIHOOD:] @ (theta - self.theta)[FIRST_OF_LIKELIHOOD:]
            yield Conditional.of(data + own, pull + own @ mean, prior, moved)

    def _prior(self, theta: Array) -> tuple[Array, Array, InnerPrior]:
        """Return precision and mean of x's prior given theta; that of log delta is a parabola."""
        prior = self.hierarchy.inner(theta)
        precision, mean = prior.precision.copy(), prior.mean.copy()
        precision[DELTA, DELTA] = prior.delta_shape
        mean[DELTA] = self.x[DELTA] + 1.0 - prior.delta_rate * float(np.exp(self.x[DELTA])) / prior.delta_shape
        return precision, mean, prior

    def draw(
        self, n_thetas: int, a_theta: int, *, shares: tuple[float, ...] = SHARES, rng: np.random.Generator
    ) -> Drawn:
        """Return `n_thetas` x `a_theta` draws, `shares` of them from each part of the mixture."""
        p, n_outer = len(self.x), len(self.theta)
        outer_normals = stratified_normals(n_thetas, n_outer, rng=rng).T
        thetas = self.theta + outer_normals @ self._outer_spread().T
        n = n_thetas * a_theta
        x, log_q, log_prior, centres = np.empty((n, p)), np.empty(n), np.empty(n), np.empty((n_thetas, p))
        n_replaced = 0
        part = rng.choice(len(shares), (n_thetas, a_theta), p=shares)
        tempers = (1.0, self._wide_temper())[: len(shares)]
        parts = zip(*(self.given(thetas, temper) for temper in tempers), strict=True)
        for i, (theta, mixed) in enumerate(zip(thetas, parts, strict=True)):
            rows = slice(i * a_theta, (i + 1) * a_theta)
            logs = np.empty((a_theta, p))
            for k, given in enumerate(mixed):
                own = part[i] == k
                logs[own], again = given.draw(int(own.sum()), rng=rng)
                n_replaced += again
            densities = [np.log(share) + given.log_density(logs) for share, given in zip(shares, mixed, strict=True)]
            centres[i] = mixed[0].centre
            x[rows] = logs
            x[rows, DELTA] = np.exp(logs[:, DELTA])
            log_q[rows] = np.logaddexp.reduce(densities) - 0.5 * float((outer_normals[i] ** 2).sum())
            outer = self.hierarchy.outer_log_density(theta)
            log_prior[rows] = [outer + mixed[0].prior.log_density(row) for row in x[rows]]
        return Drawn(x, np.repeat(thetas, a_theta, axis=0), log_q, log_prior, centres, n_replaced)

    def _wide_temper(self) -> float:
        """Return how much of the data's precision the wide part follows.

        The more directions are widened, the less each may be: with many, no draw would keep its weight.
        """
        own, _, _ = self._prior(self.theta)
        factor = lower_factor(self.data_precision + own)
        told = float(np.trace(linalg.cho_solve((factor, True), self.data_precision, check_finite=False)))
        return max(told / (told + LOST_PARAMETERS), LEAST_TEMPER)

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
        here, there = self.given(np.stack([self.theta, theta]))
        columns = here.covaried(np.eye(len(self.x), N_COMMON))
        move = columns @ np.linalg.solve(columns[COMMON], gap[COMMON])
        return replace(self, theta=theta, outer_covariance=covariance, x=there.centre + move)

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


def lower_factor(matrix: Array) -> Array:
    """Return the lower Cholesky factor of a symmetric matrix, or of one near to it that is positive definite.

    Counts that contradict each other by thousands of nats leave quadratic fits whose covariance is singular to the last
    digit. Draws are weighted by their density whatever the factor, so a wider one costs draws and bends nothing.
    """
    factor: Array
    try:
        factor = linalg.cholesky(matrix, lower=True, check_finite=False)
    except linalg.LinAlgError:
        values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.T))
        sizes = np.maximum(np.abs(values), LEAST_SHARE * float(np.abs(values).max()))
        factor = linalg.cholesky((vectors * sizes) @ vectors.T, lower=True, check_finite=False)
    return factor


def without_negative(matrix: Array) -> Array:
    """Return a symmetric matrix with negative eigenvalues raised to 0: the prior's precision alone counts there."""
    values, vectors = np.linalg.eigh(matrix)
    raised: Array = (vectors * np.maximum(values, 0.0)) @ vectors.T
    return raised


def positive(matrix: Array, floor: Array) -> Array:
    """Return a symmetric matrix with eigenvalues raised to the least of a floor's."""
    values, vectors = np.linalg.eigh(matrix)
    least = float(np.linalg.eigvalsh(floor)[0])
    if values[0] >= least:
        return matrix
    raised: Array = (vectors * np.maximum(values, least)) @ vectors.T
    return raised
