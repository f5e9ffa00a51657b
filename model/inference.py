"""Mode, outer parameters and weighted posterior draws.

Given theta, Newton steps find the mode of x with shipment and line effects integrated; theta is moved by Fisher's
identity to the mode of its marginal posterior (Laplace in x; Rue, Martino & Chopin 2009). Draws come from the
Gaussian approximation at theta's draws and are weighted against the integrated posterior; weights are Pareto-smoothed
(Vehtari et al. 2024).
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from model.box_integral import BOX_NODES, LINE_NODES, BoxIntegral, BoxTerms, Grouping, Setting
from model.hierarchy import ALPHA, DELTA, KAPPA, OUTER, SCALE_OF_KIND, Hierarchy, InnerPrior
from model.likelihood import coefficients
from model.observations import KINDS, Observations
from model.pareto_smoothing import smooth_log_weights
from model.priors import REFERENCE_DAYS
from model.proposal import DRAWS_A_THETA, Drawn, Proposal, positive, without_negative

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
OUTER_TOLERANCE = 0.02
LONGEST_OUTER_STEP = 0.7
OUTER_DIFFERENCE = 0.05
LOG_Q10, LOG_CHILL, LOG_H0 = OUTER.index("q10_less_one"), OUTER.index("chill_rate"), OUTER.index("h0")
SHIPMENT, LINE = OUTER.index("shipment"), OUTER.index("line")
# Small ledgers are given more draws: about so many lines are weighed in all.
WEIGHED_LINES = 3_000_000
DRAWS_RANGE = (2048, 8192)
LINES_AT_ONCE = 1024
AVERAGING_STEPS, AVERAGING_PAIRS = 2, 16
# Rounds of draws that only move the proposal.
PILOTS = 2
WEIGHT_BOX_NODES, WEIGHT_LINE_NODES = 5, 5
LEAST_EFFECTIVE = 200


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
    n_invalid : int
        Draws with kappa <= 0, which get no weight.
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
    n_invalid: int
    n_newton: int
    n_outer: int


class Inference:
    """The posterior of one ledger."""

    def __init__(
        self,
        observations: Observations,
        hierarchy: Hierarchy,
        *,
        box_nodes: int = BOX_NODES,
        line_nodes: int = LINE_NODES,
    ) -> None:
        """Take observations whose boxes ascend line by line, and the prior of their levels; 1 node: no such effect."""
        self._observations, self._hierarchy = observations, hierarchy
        self._c = coefficients(observations)
        self._grouping = Grouping.of(observations.box)
        self._integral = BoxIntegral(self._c, self._grouping, box_nodes=box_nodes, line_nodes=line_nodes)
        # Without effects to integrate there is no quadrature whose error could hide the mode.
        self._rough = ROUGH_TOLERANCES if max(box_nodes, line_nodes) > 1 else ()
        self._weight_nodes = min(box_nodes, WEIGHT_BOX_NODES), min(line_nodes, WEIGHT_LINE_NODES)
        self._effects = self._effect_columns()
        self._copies: tuple[int, BoxIntegral] | None = None
        self.n_newton = 0

    def _effect_columns(self) -> sparse.csr_array:
        """Return the one-hot columns of all effects, (lines, p), zero for alpha, kappa and delta."""
        rows, columns = [], []
        for kind in KINDS:
            codes = self._observations.codes[kind]
            named = np.flatnonzero(codes >= 0)
            rows.append(named)
            columns.append(self._hierarchy.slices[kind].start + codes[named])
        row, column = np.concatenate(rows), np.concatenate(columns)
        shape = (len(self._observations), self._hierarchy.n_inner)
        return sparse.csr_array((np.ones(len(row)), (row, column)), shape=shape)

    def _clock(self, theta: Array) -> tuple[Array, Array]:
        """Return log(D / 7) - log TR0 and the variance of log D, (lines,) each."""
        log_q10 = float(np.log1p(np.exp(theta[LOG_Q10])))
        mean, variance = self._observations.exposure.at(log_q10, float(theta[LOG_CHILL]))
        return mean - np.log(REFERENCE_DAYS) - self._observations.log_time_ratio, variance

    def _setting(self, theta: Array, kappa: float, delta: float, variance: Array) -> Setting:
        sigma = float(np.exp(theta[SHIPMENT]))
        by_box = self._grouping.mean(variance)
        return Setting(
            box_sd=np.sqrt(sigma**2 + kappa**2 * by_box),
            line_sd=float(np.exp(theta[LINE])),
            delta=delta,
            h0=float(np.exp(theta[LOG_H0])),
        )

    def log_likelihood(self, x: Array, theta: Array) -> float:
        """Return the log likelihood with shipment and line effects integrated, without multinomial coefficients."""
        clock, variance = self._clock(theta)
        eta = x[ALPHA] + x[KAPPA] * clock + self._effects @ x
        setting = self._setting(theta, float(x[KAPPA]), float(x[DELTA]), variance)
        return float(self._integral.value(eta, setting).sum())

    def _columns(self, clock: Array) -> sparse.csr_array:
        n, p = self._effects.shape
        rows = np.tile(np.arange(n), 2)
        columns = np.repeat([ALPHA, KAPPA], n)
        common = sparse.csr_array((np.concatenate([np.ones(n), clock]), (rows, columns)), shape=(n, p))
        return sparse.csr_array(common + self._effects)

    def newton(self, theta: Array, start: Array, *, tolerance: float = NEWTON_TOLERANCE) -> Inner:
        """Return the mode of x given theta; `tolerance` is the gain in log posterior that a step may still promise.

        Raises
        ------
        ConvergenceError
            When the steps do not settle.
        """
        prior = self._hierarchy.inner(theta)
        clock, variance = self._clock(theta)
        design = self._columns(clock)
        x = start.copy()
        current = -np.inf
        for step_number in range(1, MOST_NEWTON_STEPS + 1):
            self.n_newton += 1
            setting = self._setting(theta, float(x[KAPPA]), float(x[DELTA]), variance)
            terms = self._integral.terms(design @ x, setting)
            current = float(terms.value.sum()) + prior.log_density(x)
            gradient = _gradient(x, design, terms, prior)
            data = self._data_precision(design, terms)
            precision = data + prior.curvature(x)
            factor, precision = _factor(precision)
            step = linalg.cho_solve(factor, gradient)
            decrement = float(gradient @ step)
            if decrement < max([tolerance, *(rough for steps, rough in self._rough if step_number > steps)]):
                return Inner(x, precision, data, current, terms, step_number)
            x = self._search(x, step, prior, current, decrement, setting, design)
        raise ConvergenceError(
            f"the fit did not settle in {MOST_NEWTON_STEPS} steps: look for boxes whose counts contradict each other, "
            "for days or temperatures in the wrong unit, and for one box that outweighs all others; leave them out one "
            "by one, or fit fewer boxes"
        )

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
            value = float(self._integral.value(design @ trial, moved).sum()) + prior.log_density(trial)
            if value >= current + 1e-4 * length * decrement - 1e-7 * abs(current):
                return trial
            halved = 0.5
            if decrement < SMALL_GAIN:
                terms = self._integral.terms(design @ trial, moved)
                left = float(_gradient(trial, design, terms, prior) @ step) / decrement
                if abs(left) < MOST_SLOPE_LEFT:
                    return trial
                # Where a straight line through both slopes is 0.
                halved = 1.0 / (1.0 - left) if left < 0 else halved
            length *= halved
        return x + length * step

    def _data_precision(self, design: sparse.csr_array, terms: BoxTerms) -> Array:
        g = self._grouping
        n = len(g.box)
        blocks = sparse.csr_array((-terms.eta2, (g.pair_first, g.pair_second)), shape=(n, n))
        precision: Array = (design.T @ (blocks @ design)).toarray()
        cross = -(design.T @ terms.eta_delta)
        precision[DELTA, :] = cross
        precision[:, DELTA] = cross
        precision[DELTA, DELTA] = -terms.delta2
        return precision

    def outer_slope(self, theta: Array, inner: Inner) -> Array:
        """Return the gradient of theta's log marginal posterior by Fisher's identity, (9,).

        Effects average over x's Gaussian; shipment, line, h0 and the clock are taken at its mode.
        """
        h = self._hierarchy
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
        sigma = float(np.exp(theta[SHIPMENT]))
        clock, variance = self._clock(theta)
        setting = self._setting(theta, float(inner.x[KAPPA]), float(inner.x[DELTA]), variance)
        slope[SHIPMENT] += float((inner.terms.log_box_sd * (sigma / setting.box_sd) ** 2).sum())
        slope[LINE] += inner.terms.log_line_sd
        slope[LOG_H0] += inner.terms.h0 * np.exp(theta[LOG_H0])
        for index in (LOG_Q10, LOG_CHILL):
            moved = theta.copy()
            moved[index] += 1e-3
            slope[index] += float(inner.terms.eta @ (inner.x[KAPPA] * (self._clock(moved)[0] - clock) / 1e-3))
        return np.asarray(slope)

    def _common_slope(self, theta: Array, inner: Inner, covariance: Array) -> Array:
        """Return theta's slope through the prior of (alpha, kappa, delta), whose mean and spread follow the scales."""

        def expected(at: Array) -> float:
            prior = self._hierarchy.inner(at)
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
        return positive(hessian, 0.25 * np.diag(self._hierarchy.outer_sd**-2.0)), drift

    def _start(self) -> tuple[Array, Inner]:
        """Return the best of some theta that differ in h0, and the mode of x there.

        Losses after short trips are put down to spoilt plants or to a small kappa: the posterior can have a mode for
        each, and steps from the prior's median may end in the lesser one.
        """
        h = self._hierarchy
        theta = h.outer_mean.copy()
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

    def run(self, *, rng: np.random.Generator, n_weighed: int | None = None) -> Posterior:
        """Return weighted draws of the posterior; `n_weighed` of them, or as many as suit the size of the ledger."""
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
            if np.abs(step / self._hierarchy.outer_sd).max() < OUTER_TOLERANCE:
                break
        hessian, drift = self._outer_curvature(theta, inner, slope)
        if n_weighed is None:
            n_weighed = int(np.clip(WEIGHED_LINES // max(len(self._observations), 1), *DRAWS_RANGE))
        return self._draw(theta, inner, hessian, drift, n_outer, n_weighed // DRAWS_A_THETA, rng=rng)

    def _draw(
        self,
        theta: Array,
        inner: Inner,
        hessian: Array,
        drift: Array,
        n_outer: int,
        n: int,
        *,
        rng: np.random.Generator,
    ) -> Posterior:
        proposal = Proposal(
            hierarchy=self._hierarchy,
            theta=theta,
            x=inner.x,
            outer_covariance=np.asarray(linalg.inv(hessian), dtype=np.float64),
            data_precision=without_negative(inner.data_precision),
            drift=drift,
            shift=np.zeros_like(inner.x),
        )
        proposal = self._averaged(proposal, rng=rng)
        for _ in range(PILOTS):
            pilot = proposal.draw(n // 2, rng=rng)
            log_weights, _ = smooth_log_weights(self._log_weights(pilot))
            proposal = proposal.recentred(pilot, np.exp(log_weights))
        drawn = proposal.draw(n, rng=rng)
        log_weights, pareto_k = smooth_log_weights(self._log_weights(drawn))
        weights = np.exp(log_weights)
        return Posterior(
            x=drawn.x,
            theta=drawn.theta,
            log_weights=log_weights,
            mode_x=inner.x,
            mode_theta=theta,
            covariance=linalg.inv(inner.precision),
            effective=float(1.0 / (weights**2).sum()),
            pareto_k=pareto_k,
            n_invalid=int((drawn.x[:, KAPPA] <= 0).sum()),
            n_newton=self.n_newton,
            n_outer=n_outer,
        )

    def _averaged(self, proposal: Proposal, *, rng: np.random.Generator) -> Proposal:
        """Return the proposal with the mean and precision that fit best on average over itself, at its centre of theta.

        Its mean moves until the gradient averages to zero over it, and the curvature is averaged too (the Gaussian
        nearest in Kullback-Leibler divergence: Opper & Archambeau 2009, Neural Computation 21:786): the mode is not the
        mean, and in many dimensions the difference would leave few draws with weight. Antithetic draws cancel the
        linear part.
        """
        theta, p = proposal.theta, len(proposal.x)
        prior = self._hierarchy.inner(theta)
        clock, variance = self._clock(theta)
        design = self._columns(clock)
        for _ in range(AVERAGING_STEPS):
            centre = proposal.centres(theta[None])[0]
            scale = np.ones(p)
            scale[DELTA] = np.exp(centre[DELTA])
            factor = linalg.cholesky(proposal.precision(theta), lower=True)
            normals = rng.standard_normal((AVERAGING_PAIRS, p))
            steps = linalg.solve_triangular(factor, normals.T, trans="T", lower=True).T
            gradient, data = np.zeros(p), np.zeros((p, p))
            for step in np.concatenate([steps, -steps]):
                x = centre + step
                x[DELTA] = np.exp(x[DELTA])
                setting = self._setting(theta, float(x[KAPPA]), float(x[DELTA]), variance)
                terms = self._integral.terms(design @ x, setting)
                slope = design.T @ terms.eta + prior.slope(x)
                slope[DELTA] = (slope[DELTA] + terms.delta) * x[DELTA]
                gradient += slope / (2 * AVERAGING_PAIRS)
                own = self._data_precision(design, terms)
                own[DELTA, :] *= x[DELTA] / proposal.x[DELTA]
                own[:, DELTA] *= x[DELTA] / proposal.x[DELTA]
                data += own / (2 * AVERAGING_PAIRS)
            move = linalg.cho_solve((factor, True), gradient)
            # No further than a typical draw.
            move *= min(1.0, np.sqrt(p / max(float(gradient @ move), p)))
            proposal = replace(proposal, shift=proposal.shift + move, data_precision=without_negative(data))
        return proposal

    def _log_weights(self, drawn: Drawn) -> Array:
        """Return log posterior less log proposal, (draws,); -inf for draws with kappa <= 0.

        Several draws are taken at once, as if each had a ledger of its own, so that small ledgers cost no more than
        their sums.
        """
        x, theta = drawn.x, drawn.theta
        n_lines, n_boxes = len(self._observations), self._grouping.n_boxes
        valid = np.flatnonzero(x[:, KAPPA] > 0)
        log_weights = np.full(len(x), -np.inf)
        at_once = max(LINES_AT_ONCE // n_lines, 1)
        for first in range(0, len(valid), at_once):
            some = valid[first : first + at_once]
            clocks = [self._clock(theta[i]) for i in some]
            settings = [
                self._setting(theta[i], float(x[i, KAPPA]), float(x[i, DELTA]), variance)
                for i, (_, variance) in zip(some, clocks, strict=True)
            ]
            predictor = x[some, ALPHA, None] + x[some, KAPPA, None] * np.stack([clock for clock, _ in clocks])
            predictor += (self._effects @ x[some].T).T
            setting = Setting(
                np.concatenate([s.box_sd for s in settings]),
                *(np.repeat([s[k] for s in settings], n_lines) for k in (1, 2, 3)),
            )
            value = self._tiled(len(some)).value(predictor.ravel(), setting)
            log_weights[some] = value.reshape(len(some), n_boxes).sum(axis=1)
        return log_weights + drawn.log_prior - drawn.log_q

    def _tiled(self, n: int) -> BoxIntegral:
        """Return the integral over n copies of the ledger."""
        if self._copies is None or self._copies[0] != n:
            box_nodes, line_nodes = self._weight_nodes
            grouping = self._grouping.tiled(n)
            self._copies = n, BoxIntegral(np.tile(self._c, n), grouping, box_nodes=box_nodes, line_nodes=line_nodes)
        return self._copies[1]

    def log_posterior(self, x: Array, theta: Array) -> float:
        """Return the log posterior of (x with delta on its log scale, theta), without constants."""
        prior = self._hierarchy.inner(theta)
        return self.log_likelihood(x, theta) + prior.log_density(x) + self._hierarchy.outer_log_density(theta)


def _gradient(x: Array, design: sparse.csr_array, terms: BoxTerms, prior: InnerPrior) -> Array:
    """Return the gradient of the log posterior of x, (p,)."""
    gradient: Array = design.T @ terms.eta + prior.slope(x)
    gradient[DELTA] += terms.delta
    return gradient


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
