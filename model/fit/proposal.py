"""Draws from an approximation of the posterior, with their density, for importance weighting.

Theta is drawn first, then several x given each theta: the prior's part of x's mean and precision is exact for each
theta. Given theta, x follows a mixture of two Gaussians, one as if the data said less, so that its tails reach as far
as the posterior's (defensive importance sampling: Hesterberg 1995, Technometrics 37:185).
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from model.fit.conditionals import Conditionals, Mixture, natural
from model.fit.hierarchy import DELTA, FIRST_EFFECT, OUTER, Hierarchy, InnerPrior
from model.fit.mixing import Mixing, MixingLaw, Said, given_mixing
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
# Log weights lower than this below the highest count as so low.
FARTHEST_HEIGHT = 30.0
# Matrices of so many cells in all are worked on at once.
MATRIX_CELLS = 4_000_000
# From here on theta moves the likelihood: shipment, line, Q10, chill rate, h0.
FIRST_OF_LIKELIHOOD = OUTER.index("shipment")
COMMON = slice(0, FIRST_EFFECT)


class Drawn(NamedTuple):
    """Draws: x (draws, p), theta (draws, 10), log density of the proposal and log prior of both (draws,).

    `centres` (thetas, p) are those of x given each theta, delta on its log scale; `n_replaced` draws were drawn again,
    since kappa came out at or below 0; `mixing` is that of each draw.
    """

    x: Array
    theta: Array
    log_q: Array
    log_prior: Array
    centres: Array
    n_replaced: int
    mixing: Mixing


class Described(NamedTuple):
    """Draws as places of the proposal: normals of theta (n, 10) and of x (n, p), and (n,) each the log densities of the
    narrow part and of the whole mixture, and the log prior."""

    outer: Array
    inner: Array
    log_narrow: Array
    log_mixed: Array
    log_prior: Array


class _Centre(NamedTuple):
    """A proposal's centre: the prior there with Student effects Gaussian, precision of x, what the data say of each."""

    prior: InnerPrior
    precision: Array
    said: Said


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

    def given(self, thetas: Array) -> Conditionals:
        """Return x given each theta and the mean precisions of the Student effects there."""
        return self._given(thetas, given_mixing(self.hierarchy.inner(thetas), self.mixing_law(thetas).mean()), 1.0)

    def mixed(self, thetas: Array, mixing: Mixing, shares: tuple[float, ...] = SHARES) -> Mixture:
        """Return x given each theta and its mixing by the narrow part alone or with the wide one."""
        prior = given_mixing(self.hierarchy.inner(thetas), mixing)
        tempers = (1.0, self._wide_temper)[: len(shares)]
        return Mixture([self._given(thetas, prior, temper) for temper in tempers], shares)

    def _given(self, thetas: Array, prior: InnerPrior, temper: float) -> Conditionals:
        """Return x given each theta by its prior, as if the data said only `temper` as much.

        Centres solve (data's precision + prior's) centre = data's pull + prior's precision x mean with the prior exact
        for each theta, so that effects shrink to their mean as their scale falls: along a straight line they would not,
        and small scales would get no weight. What theta moves in the likelihood (clock, h0, spread of boxes and lines)
        is linear.
        """
        pull = temper * self._pull + self._prior_pull(prior)
        given = Conditionals.of(temper * self.data_precision, pull, prior)
        given.centre[:] += (thetas - self.theta)[:, FIRST_OF_LIKELIHOOD:] @ self.drift[:, FIRST_OF_LIKELIHOOD:].T
        return given

    def mixing_law(self, thetas: Array) -> MixingLaw:
        """Return the laws of the Student effects' precisions given each theta."""
        return MixingLaw.of(self._centre.said, self.hierarchy.inner(thetas))

    @cached_property
    def _centre(self) -> "_Centre":
        outer = self.hierarchy.inner(self.theta[None])
        student = outer.student

        def said(weights: Array, precision: Array) -> Said:
            variance = np.diagonal(np.linalg.inv(precision))
            return Said.of(self.x[student], variance[student], weights[student])

        # First Gaussians of the same slope; with what the data then say those of the mean precision.
        first = said(outer.weights(self.x)[0], self._precision(outer))
        prior = given_mixing(outer, MixingLaw.of(first, outer).mean())
        precision = self._precision(prior)
        return _Centre(prior, precision, said(prior.weights(self.x)[0], precision))

    def _precision(self, prior: InnerPrior) -> Array:
        """Return the precision of x, (p, p), given the prior of one theta."""
        precision: Array = self.data_precision + prior.precision(self.x)[0]
        precision[DELTA, DELTA] += prior.delta_shape[0]
        return precision

    @cached_property
    def _pull(self) -> Array:
        """What the data pull at x, (p,): at the centre of theta they and the prior pull to the centre of x."""
        pull: Array = self._centre.precision @ self.x - self._prior_pull(self._centre.prior)[0]
        return pull

    def _prior_pull(self, prior: InnerPrior) -> Array:
        """Return precision x mean of x's prior for each theta, (thetas, p); that of log delta is a parabola."""
        pull = np.zeros_like(prior.sds)
        pull[:, :DELTA] = (prior.common @ prior.mean[..., None])[..., 0]
        pull[:, DELTA] = prior.delta_shape * (self.x[DELTA] + 1.0) - prior.delta_rate * np.exp(self.x[DELTA])
        return pull

    def runs(self, n_thetas: int) -> list[slice]:
        """Return runs of thetas whose matrices fit the memory."""
        at_once = max(MATRIX_CELLS // len(self.x) ** 2, 1)
        return [slice(first, min(first + at_once, n_thetas)) for first in range(0, n_thetas, at_once)]

    def draw(
        self, n_thetas: int, a_theta: int, *, shares: tuple[float, ...] = SHARES, rng: np.random.Generator
    ) -> Drawn:
        """Return `n_thetas` x `a_theta` draws, `shares` of them from each part of the mixture."""
        p = len(self.x)
        outer_normals = stratified_normals(n_thetas, len(self.theta), rng=rng).T
        thetas = self.thetas_at(outer_normals)
        x, log_q = np.empty((n_thetas, a_theta, p)), np.empty((n_thetas, a_theta))
        log_prior, centres = np.empty((n_thetas, a_theta)), np.empty((n_thetas, p))
        n_replaced, mixings = 0, []
        for rows in self.runs(n_thetas):
            mixing = self.mixing_law(thetas[rows]).draw(rng=rng)
            mixings.append(mixing)
            mixture = self.mixed(thetas[rows], mixing, shares)
            logs, again = mixture.draw(a_theta, rng=rng)
            n_replaced += int(again.sum())
            of_theta = self._outer_log_density(outer_normals[rows]) + mixing.log_q.sum(axis=1)
            log_q[rows] = mixture.log_densities(logs)[1] + of_theta[:, None]
            centres[rows], x[rows] = mixture.narrow.centre, natural(logs)
            log_prior[rows] = self._log_prior(thetas[rows], mixing, x[rows], mixture.narrow.prior)
        return Drawn(
            x=x.reshape(-1, p),
            theta=np.repeat(thetas, a_theta, axis=0),
            log_q=log_q.ravel(),
            log_prior=log_prior.ravel(),
            centres=centres,
            n_replaced=n_replaced,
            mixing=Mixing.joined(mixings).take(np.repeat(np.arange(n_thetas), a_theta)),
        )

    def _log_prior(self, thetas: Array, mixing: Mixing, x: Array, prior: InnerPrior) -> Array:
        """Return the log prior of thetas, their mixing and of x given each, (thetas, n)."""
        density = np.stack([prior.log_density(x[:, i]) for i in range(x.shape[1])], axis=1)
        of_theta = self.hierarchy.outer_log_density(thetas) + mixing.log_prior.sum(axis=1)
        both: Array = of_theta[:, None] + density
        return both

    def thetas_at(self, outer: Array) -> Array:
        """Return the thetas, (n, 10), at standard normals of the same shape."""
        thetas: Array = self.theta + outer @ self._outer_spread.T
        return thetas

    def outer_of(self, thetas: Array) -> Array:
        """Return the standard normals of thetas, (n, 10)."""
        normals: Array = linalg.solve_triangular(self._outer_spread, (thetas - self.theta).T, lower=True).T
        return normals

    def described(self, thetas: Array, mixing: Mixing, x: Array, mixture: Mixture) -> Described:
        """Return what is known of draws, one x a theta, wherever they come from; `mixture` is that of the thetas."""
        logs = x[:, None].copy()
        logs[..., DELTA] = np.log(logs[..., DELTA])
        outer = self.outer_of(thetas)
        narrow, mixed = mixture.log_densities(logs)
        of_outer = self._outer_log_density(outer)
        of_mixing = mixing.log_q.sum(axis=1)
        return Described(
            outer=outer,
            inner=mixture.narrow.normals_of(logs)[:, 0],
            log_narrow=narrow[:, 0] + of_outer,
            log_mixed=mixed[:, 0] + of_outer + of_mixing,
            log_prior=self._log_prior(thetas, mixing, x[:, None], mixture.narrow.prior)[:, 0],
        )

    @cached_property
    def _wide_temper(self) -> float:
        """Return how much of the data's precision the wide part follows.

        The more directions are widened, the less each may be: with many, no draw would keep its weight.
        """
        factor = lower_factor(self._centre.precision)
        told = float(np.trace(linalg.cho_solve((factor, True), self.data_precision, check_finite=False)))
        return max(told / (told + LOST_PARAMETERS), LEAST_TEMPER)

    def _outer_log_density(self, normals: Array) -> Array:
        """Return the log density of thetas at their standard normals, (n, 10), without constants; (n,)."""
        height = np.log(np.diagonal(self._outer_spread)).sum()
        density: Array = -height - 0.5 * (normals**2).sum(axis=1)
        return density

    @cached_property
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
        # A draw far out in a Student's tail says nothing of theta.
        near = np.maximum(log_weights, log_weights.max() - FARTHEST_HEIGHT)
        heights = near.reshape(-1, a_theta).mean(axis=1)
        theta, covariance = self._outer_fitted(drawn.theta[::a_theta], heights)
        both = self.given(np.stack([self.theta, theta]))
        columns = both.take(np.arange(1)).covaried(np.eye(len(self.x), FIRST_EFFECT)[None])[0]
        move = columns @ np.linalg.solve(columns[COMMON], gap[COMMON])
        return replace(self, theta=theta, outer_covariance=covariance, x=both.centre[1] + move)

    def _outer_fitted(self, thetas: Array, heights: Array) -> tuple[Array, Array]:
        """Return theta's centre and covariance after a quadratic, fitted to `heights`, is added to its log density."""
        spread, z = self._outer_spread, self.outer_of(thetas)
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
