"""Mode, outer parameters and weighted posterior draws.

Theta is moved to the mode of its marginal posterior (Laplace in x; Rue, Martino & Chopin 2009), with the mode of x
given theta at each step (`model.fit.inner_mode`). Draws about it are weighted against the integrated posterior
(`model.fit.weighing`); where there are two modes, about each, by the posterior's mass there.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from model.fit.hierarchy import DELTA, KAPPA, LOG_ODDS_LOST, OUTER
from model.fit.inner_mode import LEAST_DELTA_SHARE, REMEDIES, ConvergenceError, Inner, InnerMode
from model.fit.marginal_slope import marginal_slope
from model.fit.positive_definite import positive, without_negative
from model.fit.proposal import Proposal
from model.fit.target import LOG_H0
from model.fit.weighing import REFUSED_EFFECTIVE, Weighing, combined

Array = NDArray[np.float64]

# Starts of theta: h0, in prior sds from its median.
START_H0_SDS = (2.0, 1.0, 0.0, -1.0)
MOST_OUTER_STEPS = 30
# A ledger of more boxes starts from the mode of each so manieth of them.
MANY_BOXES, SUBSET_OF = 600, 4
# Steps of theta, in prior sds, end when short and when they gain less than this.
OUTER_TOLERANCE, OUTER_GAIN = 0.02, 0.25
LONGEST_OUTER_STEP = 1.0
OUTER_DIFFERENCE = 0.05
# Least curvature, as a share of the prior's.
LEAST_CURVATURE = 0.25
# A mode so many nats lower is not drawn about; one nearer than so many sds to the highest is the same.
LESSER_HUMP, APART = 10.0, 1.5


class Mode(NamedTuple):
    """The mode of theta (10,), x there, minus theta's Hessian (10, 10), change of x with theta (p, 10), steps taken."""

    theta: Array
    inner: Inner
    hessian: Array
    drift: Array
    n_outer: int


@dataclass(frozen=True, eq=False)
class Posterior:
    """Weighted draws of the posterior.

    Attributes
    ----------
    x : (draws, p)
    theta : (draws, 10)
    log_weights : (draws,)
        Normalised and smoothed.
    log_likelihood : (draws,)
        Shipment and line effects integrated, without multinomial coefficients.
    mode_x, mode_theta : (p,), (10,)
    covariance : (p, p)
        Of x at the mode of theta.
    effective : float
        Effective number of draws.
    pareto_k : float
    n_replaced : int
        Draws that were drawn again since kappa came out at or below 0.
    n_newton, n_outer, n_moves : int
        Steps of Newton and of theta, and moves of each draw where weights alone left too few.
    """

    x: Array
    theta: Array
    log_weights: Array
    log_likelihood: Array
    mode_x: Array
    mode_theta: Array
    covariance: Array
    effective: float
    pareto_k: float
    n_replaced: int
    n_newton: int
    n_outer: int
    n_moves: int = 0


class Inference:
    """The mode of a ledger's posterior, and draws of it."""

    def __init__(self, inner_mode: InnerMode) -> None:
        """Take what finds the mode of x for a theta."""
        self._inner_mode = inner_mode
        self._target = inner_mode.target
        self._hierarchy = inner_mode.target.hierarchy

    def _outer_curvature(self, theta: Array, inner: Inner, slope: Array) -> tuple[Array, Array]:
        """Return minus the Hessian in theta, (10, 10), and the change of the mode of x with theta, (p, 10)."""
        n = len(OUTER)
        hessian, drift = np.empty((n, n)), np.empty((len(inner.x), n))
        for i in range(n):
            moved = theta.copy()
            moved[i] += OUTER_DIFFERENCE
            there = self._inner_mode.newton(moved, inner.x)
            hessian[i] = -(marginal_slope(self._target, moved, there) - slope) / OUTER_DIFFERENCE
            drift[:, i] = (there.x - inner.x) / OUTER_DIFFERENCE
        hessian = 0.5 * (hessian + hessian.T)
        return positive(hessian, LEAST_CURVATURE * np.diag(self._hierarchy.outer_sd**-2.0)), drift

    def _start(self) -> Mode:
        """Return a theta to start from, with curvature there.

        It is the best of some that differ in h0: losses after short trips are put down to spoilt plants or to a small
        kappa, the posterior can have a mode for each, and steps from the prior's median may end in the lesser one. A
        large ledger starts from the mode of some of its boxes, as if all said the same.
        """
        h, n_boxes = self._hierarchy, self._target.observations.n_boxes
        theta = h.outer_mean.copy()
        if n_boxes > MANY_BOXES:
            near = Inference(InnerMode(self._target.of_boxes(np.arange(0, n_boxes, SUBSET_OF)))).mode()
            own = np.diag(h.outer_sd**-2.0)
            hessian = positive(SUBSET_OF * (near.hessian - own) + own, LEAST_CURVATURE * own)
            return Mode(near.theta, self._inner_mode.newton(near.theta, near.inner.x), hessian, near.drift, 0)
        prior = h.inner(theta)
        x = prior.full_mean()
        x[DELTA] = prior.delta_shape / prior.delta_rate
        found = []
        for sds in START_H0_SDS:
            theta = h.outer_mean.copy()
            theta[LOG_H0] += sds * h.outer_sd[LOG_H0]
            inner = self._inner_mode.newton(theta, x)
            x = inner.x
            found.append((self._inner_height(theta, inner), theta, inner))
        _, theta, inner = max(found, key=lambda one: one[0])
        return Mode(theta, inner, *self._outer_curvature(theta, inner, marginal_slope(self._target, theta, inner)), 0)

    def mode(self) -> Mode:
        """Return the highest mode of theta's marginal posterior, and of x given it."""
        return self.modes()[0]

    def modes(self) -> list[Mode]:
        """Return the modes of theta's marginal posterior that count, and of x given each; the highest first.

        Where boxes or records may be strays, a seller who sends dead boxes for a season is one explanation and boxes
        lost whole are another, each with a mode of its own. So the search also begins where the clock alone would end.
        """
        start, target = self._start(), self._target
        found = self._climbed(start)
        if target.rates is None or target.observations.n_boxes > MANY_BOXES:
            return [found]
        alone = Inference(InnerMode(target.by_clock_alone()))
        try:
            clock = alone.ascended(start._replace(inner=alone.inner_at(start.theta, start.inner.x)))
            theta = np.append(clock.theta[:LOG_ODDS_LOST], found.theta[LOG_ODDS_LOST])
            inner = self.inner_at(theta, clock.inner.x)
            near = found._replace(theta=theta, inner=inner)
            if not _apart(found, near) and self._height(near) < self._height(found):
                return [found]
            other = self._climbed(near._replace(n_outer=0))
        except (ConvergenceError, linalg.LinAlgError):
            return [found]
        first, second = sorted((found, other), key=self._height, reverse=True)
        lesser = self._height(second) < self._height(first) - LESSER_HUMP
        return [first] if lesser or not _apart(first, second) else [first, second]

    def inner_at(self, theta: Array, start: Array) -> Inner:
        """Return the mode of x given a theta."""
        return self._inner_mode.newton(theta, start)

    def _height(self, mode: Mode) -> float:
        """Return the log of the posterior's mass about a mode, by Laplace's method, without constants."""
        return self._inner_height(mode.theta, mode.inner) - 0.5 * float(np.linalg.slogdet(mode.hessian)[1])

    def _inner_height(self, theta: Array, inner: Inner) -> float:
        """Return the log of the posterior's mass about the mode of x given theta, delta on its log scale."""
        height = inner.log_posterior + float(self._hierarchy.outer_log_density(theta))
        return height - 0.5 * float(np.linalg.slogdet(inner.precision)[1]) - float(np.log(inner.x[DELTA]))

    def _climbed(self, start: Mode) -> Mode:
        """Return the mode that steps from a start end in, with the curvature there."""
        theta, inner, _, _, n_outer = self.ascended(start)
        slope = marginal_slope(self._target, theta, inner)
        return Mode(theta, inner, *self._outer_curvature(theta, inner, slope), n_outer)

    def ascended(self, start: Mode) -> Mode:
        """Return the mode that steps from a start end in, its curvature and drift as the steps found them."""
        theta, inner, hessian, drift, n_outer = start
        slope = marginal_slope(self._target, theta, inner)
        while n_outer < MOST_OUTER_STEPS:
            n_outer += 1
            step = np.linalg.solve(hessian, slope)
            step *= min(1.0, LONGEST_OUTER_STEP / np.abs(step / self._hierarchy.outer_sd).max())
            ahead = inner.x + drift @ step
            ahead[DELTA] = max(ahead[DELTA], LEAST_DELTA_SHARE * inner.x[DELTA])
            there = self._inner_mode.newton(theta + step, ahead)
            new_slope = marginal_slope(self._target, theta + step, there)
            # Broyden-Fletcher-Goldfarb-Shanno update of the curvature.
            change = slope - new_slope
            if change @ step > 1e-8:  # noqa: PLR2004 - only a step along which the slope falls tells of curvature
                pulled = hessian @ step
                hessian = (
                    hessian + np.outer(change, change) / (change @ step) - np.outer(pulled, pulled) / (step @ pulled)
                )
            # A step too far, down as steep as it was up, is not taken: the curvature it found makes the next shorter.
            if new_slope @ step > -slope @ step:
                theta, inner, slope = theta + step, there, new_slope
                short = np.abs(step / self._hierarchy.outer_sd).max() < OUTER_TOLERANCE
                if short and step @ hessian @ step < OUTER_GAIN:
                    break
        return Mode(theta, inner, hessian, drift, n_outer)

    def run(self, *, rng: np.random.Generator, n_weighed: int | None = None) -> Posterior:
        """Return weighted draws of the posterior; `n_weighed` of them, or as many as suit the size of the ledger.

        Raises
        ------
        ConvergenceError
            When Newton's steps do not settle, a system of equations has no solution, or too few of the draws count.
        """
        try:
            modes = self.modes()
            weighing = Weighing(self._target)
            weighted = combined([weighing.run(self._proposal(one), n_weighed, rng=rng) for one in modes])
            mode = modes[0]
            covariance = np.asarray(np.linalg.inv(mode.inner.precision), dtype=np.float64)
        except linalg.LinAlgError as fault:
            raise ConvergenceError(f"the fit lost its way ({fault}). {REMEDIES}") from fault
        if weighted.effective < REFUSED_EFFECTIVE:
            raise ConvergenceError(
                f"of {len(weighted.x)} draws only {weighted.effective:.0f} count, too few for an answer. {REMEDIES}"
            )
        return Posterior(
            x=weighted.x,
            theta=weighted.theta,
            log_weights=weighted.log_weights,
            log_likelihood=weighted.log_likelihood,
            mode_x=mode.inner.x,
            mode_theta=mode.theta,
            covariance=covariance,
            effective=weighted.effective,
            pareto_k=weighted.pareto_k,
            n_replaced=weighted.n_replaced,
            n_newton=self._inner_mode.n_newton,
            n_outer=mode.n_outer,
            n_moves=weighted.n_moves,
        )

    def _proposal(self, mode: Mode) -> Proposal:
        """Return the Gaussian at the mode, delta on its log scale."""
        inner = mode.inner
        to_log = np.ones_like(inner.x)
        to_log[DELTA] = inner.x[DELTA]
        x = inner.x.copy()
        x[DELTA] = np.log(x[DELTA])
        return Proposal(
            hierarchy=self._hierarchy,
            theta=mode.theta,
            x=x,
            outer_covariance=np.asarray(np.linalg.inv(mode.hessian), dtype=np.float64),
            data_precision=without_negative(inner.data_precision * np.outer(to_log, to_log)),
            drift=mode.drift / to_log[:, None],
        )


def _apart(one: Mode, other: Mode) -> bool:
    """Return whether two modes are humps of their own: a Gaussian about neither reaches the other."""
    kappa = abs(one.inner.x[KAPPA] - other.inner.x[KAPPA])
    sds = [np.sqrt(np.linalg.inv(mode.inner.precision)[KAPPA, KAPPA]) for mode in (one, other)]
    step = one.theta - other.theta
    far = [np.sqrt(step @ mode.hessian @ step) for mode in (one, other)]
    return bool(kappa > APART * max(sds) or min(far) > APART * np.sqrt(len(step)))
