"""The mode of x given theta, by Newton steps with shipment and line effects integrated."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from model.fit.box_integral import BoxTerms, Setting
from model.fit.hierarchy import DELTA, KAPPA, InnerPrior
from model.fit.target import Target, gradient

Array = NDArray[np.float64]

MOST_NEWTON_STEPS = 60
NEWTON_TOLERANCE = 1e-4
# All-or-nothing boxes: the quadrature's own error hides the mode, and after so many steps so near to it is enough, in
# squared posterior sds, since draws are weighted anyway.
ROUGH_TOLERANCES = ((12, 0.5), (24, 3.0))
SHORTEST_STEP, LONGEST_STEP = 1e-4, 3.0
# A step that promises less than this gain is judged by the slope too; it may leave this share of it.
SMALL_GAIN, MOST_SLOPE_LEFT = 4.0, 0.25
# A step takes delta down to no less than this share of itself.
LEAST_DELTA_SHARE = 0.2
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


class InnerMode:
    """The mode of x for a theta.

    Attributes
    ----------
    target : Target
        The posterior.
    n_newton : int
        Steps taken so far.
    """

    def __init__(self, target: Target) -> None:
        """Take the posterior."""
        self.target = target
        # Without effects to integrate there is no quadrature whose error could hide the mode.
        self._rough = ROUGH_TOLERANCES if max(target.nodes) > 1 else ()
        self.n_newton = 0

    def newton(self, theta: Array, start: Array, *, tolerance: float = NEWTON_TOLERANCE) -> Inner:
        """Return the mode of x given theta; `tolerance` is the gain in log posterior that a step may still promise.

        Raises
        ------
        ConvergenceError
            When the steps do not settle.
        """
        target = self.target
        prior = target.hierarchy.inner(theta)
        clock, variance = target.clock(theta)
        design = target.columns(clock)
        x = start.copy()
        current = -np.inf
        for step_number in range(1, MOST_NEWTON_STEPS + 1):
            self.n_newton += 1
            setting = target.setting(theta, float(x[KAPPA]), float(x[DELTA]), variance)
            terms = target.integral.terms(design @ x, setting)
            current = float(terms.value.sum()) + float(prior.log_density(x))
            slope = gradient(x, design, terms, prior)
            data = target.data_precision(design, terms.eta2, terms.eta_delta, terms.delta2)
            precision = data + prior.curvature(x)
            factor, precision = _factor(precision)
            step = linalg.cho_solve(factor, slope)
            decrement = float(slope @ step)
            if decrement < max([tolerance, *(rough for steps, rough in self._rough if step_number > steps)]):
                return Inner(x, precision, data, current, terms)
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
            value = float(self.target.integral.value(design @ trial, moved).sum()) + float(prior.log_density(trial))
            if value >= current + 1e-4 * length * decrement - 1e-7 * abs(current):
                return trial
            halved = 0.5
            if decrement < SMALL_GAIN:
                terms = self.target.integral.terms(design @ trial, moved)
                left = float(gradient(trial, design, terms, prior) @ step) / decrement
                if abs(left) < MOST_SLOPE_LEFT:
                    return trial
                # Where a straight line through both slopes is 0.
                halved = 1.0 / (1.0 - left) if left < 0 else halved
            length *= halved
        return x + length * step


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
