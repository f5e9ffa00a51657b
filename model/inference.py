"""Mode, outer parameters and weighted posterior draws.

Given theta, Newton steps find the mode of x with shipment and line effects integrated; theta is moved by Fisher's
identity to the mode of its marginal posterior (Laplace in x; Rue, Martino & Chopin 2009). Draws about it are weighted
against the integrated posterior (`model.weighing`).
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from model.box_integral import BOX_NODES, LINE_NODES, BoxTerms, Setting
from model.hierarchy import ALPHA, DELTA, KAPPA, OUTER, SCALE_OF_KIND, Hierarchy, InnerPrior
from model.observations import Observations
from model.proposal import Proposal, positive, without_negative
from model.target import LOG_CHILL, LOG_H0, LOG_Q10, Target, gradient
from model.weighing import REFUSED_EFFECTIVE, Weighing

Array = NDArray[np.float64]

MOST_NEWTON_STEPS = 60
NEWTON_TOLERANCE = 1e-4
# All-or-nothing boxes: the quadrature's own error hides the mode, and after so many steps so near to it is enough, in
# squared posterior sds, since draws are weighted anyway.
ROUGH_TOLERANCES = ((12, 0.5), (24, 3.0))
# Starts of theta: h0, in prior sds from its median.
START_H0_SDS = (2.0, 1.0, 0.0, -1.0)
SHORTEST_STEP, LONGEST_STEP = 1e-4, 3.0
# A step that promises less than this gain is judged by the slope too; it may leave this share of it.
SMALL_GAIN, MOST_SLOPE_LEFT = 4.0, 0.25
# A step takes delta down to no less than this share of itself.
LEAST_DELTA_SHARE = 0.2
MOST_OUTER_STEPS = 12
# A ledger of more boxes starts from the mode of so many of them.
MANY_BOXES, SUBSET_BOXES = 5000, 2000
# Steps of theta end when short in prior sds, and when they gain less than this.
OUTER_TOLERANCE, OUTER_GAIN = 0.02, 0.25
LONGEST_OUTER_STEP = 0.7
OUTER_DIFFERENCE = 0.05
REMEDIES = (
    "Look for boxes whose counts contradict each other, for days or temperatures in the wrong unit, and for one box "
    "that outweighs all others; leave them out one by one, or fit fewer boxes"
)


class ConvergenceError(RuntimeError):
    """Newton's steps did not settle; the message lists remedies."""


class Inner(NamedTuple):
    """The mode of x for one theta: x (p,), minus the Hessian there, log posterior, and the likelihood's terms."""

    x: Array
    precision: Array
    data_precision: Array
    log_posterior: float
    terms: BoxTerms
    n_steps: int


class Mode(NamedTuple):
    """The mode of theta (9,), x there, minus theta's Hessian (9, 9), change of x with theta (p, 9), and steps taken."""

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
    theta : (draws, 9)
    log_weights : (draws,)
        Normalised and smoothed.
    mode_x, mode_theta : (p,), (9,)
    covariance : (p, p)
        Of x at the mode of theta.
    effective : float
        Effective number of draws.
    pareto_k : float
    n_replaced : int
        Draws that were drawn again since kappa came out at or below 0.
    n_newton, n_outer : int
    """

    x: Array
    theta: Array
    log_weights: Array
    mode_x: Array
    mode_theta: Array
    covariance: Array
    effective: float
    pareto_k: float
    n_replaced: int
    n_newton: int
    n_outer: int


class Inference(Target):
    """The posterior of one ledger: its mode, and draws of it."""

    def __init__(
        self,
        observations: Observations,
        hierarchy: Hierarchy,
        *,
        box_nodes: int = BOX_NODES,
        line_nodes: int = LINE_NODES,
    ) -> None:
        """Take observations whose boxes ascend line by line, and the prior of their levels; 1 node: no such effect."""
        super().__init__(observations, hierarchy, box_nodes=box_nodes, line_nodes=line_nodes)
        # Without effects to integrate there is no quadrature whose error could hide the mode.
        self._rough = ROUGH_TOLERANCES if max(box_nodes, line_nodes) > 1 else ()
        self.n_newton = 0

    def newton(self, theta: Array, start: Array, *, tolerance: float = NEWTON_TOLERANCE) -> Inner:
        """Return the mode of x given theta; `tolerance` is the gain in log posterior that a step may still promise.

        Raises
        ------
        ConvergenceError
            When the steps do not settle.
        """
        prior = self.hierarchy.inner(theta)
        clock, variance = self.clock(theta)
        design = self.columns(clock)
        x = start.copy()
        current = -np.inf
        for step_number in range(1, MOST_NEWTON_STEPS + 1):
            self.n_newton += 1
            setting = self.setting(theta, float(x[KAPPA]), float(x[DELTA]), variance)
            terms = self.integral.terms(design @ x, setting)
            current = float(terms.value.sum()) + prior.log_density(x)
            slope = gradient(x, design, terms, prior)
            data = self.data_precision(design, terms)
            precision = data + prior.curvature(x)
            factor, precision = _factor(precision)
            step = linalg.cho_solve(factor, slope)
            decrement = float(slope @ step)
            if decrement < max([tolerance, *(rough for steps, rough in self._rough if step_number > steps)]):
                return Inner(x, precision, data, current, terms, step_number)
            x = self._search(x, step, prior, current, decrement, setting, design)
        raise ConvergenceError(f"the fit did not settle in {MOST_NEWTON_STEPS} steps. {REMEDIES}")

    def _search(  # noqa: PLR0917 - a step and all that it is judged by
        self,
        x: Array,
        step: Array,
        prior: InnerPrior,
        current: float,
        decrement: float,
        setting: Setting,
        design: sparse.csr_array,
    ) -> Array:
        """Return x moved along the step, halved until the log posterior rises.

        A step that promises little may rise by less than the quadrature errs; it is also taken where it leaves little
        of the slope along it.
        """
        length = min(1.0, LONGEST_STEP / float(np.abs(step).max()))
        if step[DELTA] < 0:
            length = min(length, (1.0 - LEAST_DELTA_SHARE) * x[DELTA] / -step[DELTA])
        shortest = SHORTEST_STEP * length
        while length > shortest:
            trial = x + length * step
            moved = setting._replace(delta=float(trial[DELTA]))
            value = float(self.integral.value(design @ trial, moved).sum()) + prior.log_density(trial)
            if value >= current + 1e-4 * length * decrement - 1e-7 * abs(current):
                return trial
            halved = 0.5
            if decrement < SMALL_GAIN:
                terms = self.integral.terms(design @ trial, moved)
                left = float(gradient(trial, design, terms, prior) @ step) / decrement
                if abs(left) < MOST_SLOPE_LEFT:
                    return trial
                # Where a straight line through both slopes is 0.
                halved = 1.0 / (1.0 - left) if left < 0 else halved
            length *= halved
        return x + length * step

    def outer_slope(self, theta: Array, inner: Inner) -> Array:
        """Return the gradient of theta's log marginal posterior by Fisher's identity, (9,).

        Effects average over x's Gaussian; shipment, line, h0 and the clock are taken at its mode.
        """
        h = self.hierarchy
        covariance = linalg.inv(inner.precision, check_finite=False)
        slope = -(theta - h.outer_mean) / h.outer_sd**2
        second = covariance + np.outer(inner.x, inner.x)
        prior = h.inner(theta)
        for kind, scale in SCALE_OF_KIND.items():
            part = h.slices[kind]
            size = part.stop - part.start
            quadratic = float((prior.precision[part, part] * second[part, part]).sum())
            slope[OUTER.index(scale)] += quadratic - size
        slope += self._common_slope(theta, inner, covariance)
        clock, variance = self.clock(theta)
        setting = self.setting(theta, float(inner.x[KAPPA]), float(inner.x[DELTA]), variance)
        for index, part_of in self.box_variances(theta).items():
            slope[index] += float((inner.terms.log_box_sd * part_of / setting.box_sd**2).sum())
        for index, part_of in self.line_variances(theta).items():
            if index >= 0:
                slope[index] += float((inner.terms.log_line_sd * part_of / np.square(setting.line_sd)).sum())
        slope[LOG_H0] += inner.terms.h0 * np.exp(theta[LOG_H0])
        for index in (LOG_Q10, LOG_CHILL):
            moved = theta.copy()
            moved[index] += 1e-3
            slope[index] += float(inner.terms.eta @ (inner.x[KAPPA] * (self.clock(moved)[0] - clock) / 1e-3))
        return np.asarray(slope)

    def _common_slope(self, theta: Array, inner: Inner, covariance: Array) -> Array:
        """Return theta's slope through the prior of (alpha, kappa, delta), whose mean and spread follow the scales."""

        def expected(at: Array) -> float:
            prior = self.hierarchy.inner(at)
            part = slice(ALPHA, DELTA)
            precision = prior.precision[part, part]
            gap = inner.x[part] - prior.mean[part]
            log_det = float(np.linalg.slogdet(precision)[1])
            value = 0.5 * log_det - 0.5 * float(gap @ precision @ gap + (precision * covariance[part, part]).sum())
            alone = InnerPrior(prior.mean, 0.0 * prior.precision, 0.0, prior.delta_shape, prior.delta_rate)
            return value + alone.log_density(inner.x)

        slope = np.zeros(len(OUTER))
        base = expected(theta)
        for name in (*SCALE_OF_KIND.values(), "shipment", "line"):
            index = OUTER.index(name)
            moved = theta.copy()
            moved[index] += 1e-3
            slope[index] = (expected(moved) - base) / 1e-3
        return slope

    def _outer_curvature(self, theta: Array, inner: Inner, slope: Array) -> tuple[Array, Array]:
        """Return minus the Hessian in theta, (9, 9), and the change of the mode of x with theta, (p, 9)."""
        n = len(OUTER)
        hessian, drift = np.empty((n, n)), np.empty((len(inner.x), n))
        for i in range(n):
            moved = theta.copy()
            moved[i] += OUTER_DIFFERENCE
            there = self.newton(moved, inner.x)
            hessian[i] = -(self.outer_slope(moved, there) - slope) / OUTER_DIFFERENCE
            drift[:, i] = (there.x - inner.x) / OUTER_DIFFERENCE
        hessian = 0.5 * (hessian + hessian.T)
        return positive(hessian, 0.25 * np.diag(self.hierarchy.outer_sd**-2.0)), drift

    def _start(self) -> tuple[Array, Inner]:
        """Return the best of some theta that differ in h0, and the mode of x there.

        Losses after short trips are put down to spoilt plants or to a small kappa: the posterior can have a mode for
        each, and steps from the prior's median may end in the lesser one. A large ledger starts from the mode of some
        of its boxes.
        """
        h = self.hierarchy
        theta = h.outer_mean.copy()
        if self.observations.n_boxes > MANY_BOXES:
            some = np.linspace(0, self.observations.n_boxes - 1, SUBSET_BOXES).astype(np.intp)
            near = Inference(self.observations.take_boxes(some), h).mode()
            return near.theta, self.newton(near.theta, near.inner.x)
        prior = h.inner(theta)
        x = prior.mean.copy()
        x[DELTA] = prior.delta_shape / prior.delta_rate
        found = []
        for sds in START_H0_SDS:
            theta = h.outer_mean.copy()
            theta[LOG_H0] += sds * h.outer_sd[LOG_H0]
            inner = self.newton(theta, x)
            x = inner.x
            log_det = float(np.linalg.slogdet(inner.precision)[1])
            height = inner.log_posterior + h.outer_log_density(theta) - 0.5 * log_det - float(np.log(x[DELTA]))
            found.append((height, theta, inner))
        return max(found, key=lambda one: one[0])[1:]

    def mode(self) -> Mode:
        """Return the mode of theta's marginal posterior, and of x given it."""
        theta, inner = self._start()
        slope = self.outer_slope(theta, inner)
        hessian, drift = self._outer_curvature(theta, inner, slope)
        n_outer = 0
        while n_outer < MOST_OUTER_STEPS:
            n_outer += 1
            step = np.linalg.solve(hessian, slope)
            step *= min(1.0, LONGEST_OUTER_STEP / np.abs(step).max())
            moved = theta + step
            there = self.newton(moved, inner.x + drift @ step)
            new_slope = self.outer_slope(moved, there)
            # Broyden-Fletcher-Goldfarb-Shanno update of the curvature.
            change = slope - new_slope
            if change @ step > 1e-8:  # noqa: PLR2004 - only a step along which the slope falls tells of curvature
                pulled = hessian @ step
                hessian = (
                    hessian + np.outer(change, change) / (change @ step) - np.outer(pulled, pulled) / (step @ pulled)
                )
            theta, inner, slope = moved, there, new_slope
            short = np.abs(step / self.hierarchy.outer_sd).max() < OUTER_TOLERANCE
            if short and step @ hessian @ step < OUTER_GAIN:
                break
        hessian, drift = self._outer_curvature(theta, inner, slope)
        return Mode(theta, inner, hessian, drift, n_outer)

    def run(self, *, rng: np.random.Generator, n_weighed: int | None = None) -> Posterior:
        """Return weighted draws of the posterior; `n_weighed` of them, or as many as suit the size of the ledger.

        Raises
        ------
        ConvergenceError
            When Newton's steps do not settle, or too few of the draws count.
        """
        mode = self.mode()
        weighted = Weighing(self).run(self._proposal(mode), n_weighed, rng=rng)
        if weighted.effective < REFUSED_EFFECTIVE:
            raise ConvergenceError(
                f"of {len(weighted.x)} draws only {weighted.effective:.0f} count, too few for an answer. {REMEDIES}"
            )
        return Posterior(
            x=weighted.x,
            theta=weighted.theta,
            log_weights=weighted.log_weights,
            mode_x=mode.inner.x,
            mode_theta=mode.theta,
            covariance=linalg.inv(mode.inner.precision),
            effective=weighted.effective,
            pareto_k=weighted.pareto_k,
            n_replaced=weighted.n_replaced,
            n_newton=self.n_newton,
            n_outer=mode.n_outer,
        )

    def _proposal(self, mode: Mode) -> Proposal:
        """Return the Gaussian at the mode, delta on its log scale."""
        inner = mode.inner
        to_log = np.ones_like(inner.x)
        to_log[DELTA] = inner.x[DELTA]
        x = inner.x.copy()
        x[DELTA] = np.log(x[DELTA])
        return Proposal(
            hierarchy=self.hierarchy,
            theta=mode.theta,
            x=x,
            outer_covariance=np.asarray(linalg.inv(mode.hessian), dtype=np.float64),
            data_precision=without_negative(inner.data_precision * np.outer(to_log, to_log)),
            drift=mode.drift / to_log[:, None],
        )


def _factor(precision: Array) -> tuple[tuple[Array, bool], Array]:
    """Return the Cholesky factor; where curvature is negative (h0 > 0, far from the mode) its size counts instead.

    So a step leads away from a saddle (Dauphin et al. 2014, saddle-free Newton).
    """
    try:
        return linalg.cho_factor(precision, lower=True), precision
    except linalg.LinAlgError:
        values, vectors = np.linalg.eigh(precision)
        sizes = np.maximum(np.abs(values), 1e-6 * float(np.abs(values).max()))
        bent: Array = (vectors * sizes) @ vectors.T
        return linalg.cho_factor(bent, lower=True), bent
