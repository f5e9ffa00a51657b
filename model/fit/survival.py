"""TransitSurvival: the model as a scikit-learn estimator."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray
from sklearn.base import BaseEstimator
from sklearn.utils.validation import check_is_fitted
from threadpoolctl import threadpool_limits

from model.exposure import ExposureTable
from model.fit.box_integral import BoxIntegral, Grouping, Setting
from model.fit.hierarchy import OUTER, Hierarchy
from model.fit.inference import Inference, Posterior
from model.fit.inner_mode import InnerMode
from model.fit.likelihood import coefficients, log_choose
from model.fit.lines import Lines, Observed, observe, plant_of
from model.fit.observations import Observations
from model.fit.plain_table import PlainCounts, PlainTable, read_counts, tabulate_lines
from model.fit.target import Target
from model.fit.weighing import LEAST_EFFECTIVE, WEIGHT_BOX_NODES, WEIGHT_LINE_NODES, WEIGHT_MODE_TOLERANCE
from model.plant import KINDS, LEARNED_SCALES, Plant
from model.predict import MarginalChances, PosteriorDraws, draw_late_loss, plant_effects
from model.prior import REFERENCE_DAYS, ParameterDraws
from model.reference import Reference, load_reference

Array = NDArray[np.float64]
Table = Lines | PlainTable

# Held-out boxes are scored with the first of the draws, so many.
SCORING_DRAWS = 512
SCORED_LINES_AT_ONCE = 1024
WEIGHT_INTEGRAL = {
    "box_nodes": WEIGHT_BOX_NODES,
    "line_nodes": WEIGHT_LINE_NODES,
    "mode_tolerance": WEIGHT_MODE_TOLERANCE,
    "single": True,
}


class TransitSurvival(BaseEstimator):  # type: ignore[misc]
    """Bayesian current-status survival with two ordered events on one thermal clock.

    Parameters
    ----------
    reference : Reference, optional
        Tables and rules of thumb; the package's own unless given.
    n_draws : int
        Draws kept, equally weighted.
    n_weighed : int, optional
        Draws weighed; fewer for larger ledgers unless given.
    random_state : int
        Seed.

    Attributes
    ----------
    draws_ : PosteriorDraws
        What predictions are made of.
    posterior_ : Posterior
        Weighted draws before resampling.
    hierarchy_ : Hierarchy
    n_boxes_, n_lines_ : int
    diagnostics_ : dict
        Effective number of draws, Pareto k, Newton steps, whether there are enough draws.

    Examples
    --------
    X is a plain table, a row a line of plants in a box: its days, and the air in the box as one temperature or as a
    logger's trace of (hours, °C) pairs. y are the counts at unboxing: healthy, damaged, dead, sent. These boxes are
    invented; `model.fit.plain_table` lists the columns.

    >>> boxes = [
    ...     {"shipment": "a", "genus": "Philodendron", "days": 4, "inside_c": 21.0},
    ...     {"shipment": "a", "genus": "Hoya", "days": 4, "inside_c": 21.0},
    ...     {"shipment": "b", "genus": "Philodendron", "days": 9, "inside_c": [(0, 27.0), (100, 24.0), (216, 18.0)]},
    ...     {"shipment": "c", "genus": "Philodendron", "days": 12, "inside_c": 24.0, "container": "carton"},
    ... ]
    >>> counts = [[19, 1, 0, 20], [10, 0, 0, 10], [11, 5, 4, 20], [3, 5, 12, 20]]
    >>> model = TransitSurvival(n_draws=512, n_weighed=512).fit(boxes, counts)
    >>> asked = [{"shipment": "next", "genus": "Philodendron", "days": days, "inside_c": 21.0} for days in (4, 12)]
    >>> soon, late = model.predict_proba(asked)
    >>> bool(soon[0] > late[0]), bool(soon[2] < late[2])
    (True, True)
    """

    def __init__(
        self,
        reference: Reference | None = None,
        *,
        n_draws: int = 4096,
        n_weighed: int | None = None,
        random_state: int = 0,
    ) -> None:
        self.reference = reference
        self.n_draws = n_draws
        self.n_weighed = n_weighed
        self.random_state = random_state

    def fit(self, X: Table, y: PlainCounts, sample_weight: Array | None = None) -> Self:  # noqa: N803 - scikit-learn's name
        """Fit to arrived boxes.

        Parameters
        ----------
        X : sequence of mappings, mapping of columns, or (lines,) structured array of `LINE_DTYPE`
            A plain table as `tabulate_lines` takes it, or a table of lines with their exposure worked out. The first
            and the last can be split by rows, so they work in cross-validation.
        y : (lines, 4)
            Healthy, damaged, dead, sent; NaN where unknown.
        sample_weight : (lines,), optional
            Multiplies a line's counts.

        Raises
        ------
        TableError
            When a plain table or its counts cannot be read; names the row and the column.
        CountError
            When counts do not add up.
        ConvergenceError
            When Newton's steps do not settle.
        """
        lines, counts = self._lines(X), _counts(X, y)
        if sample_weight is not None:
            counts = counts * np.asarray(sample_weight, dtype=float)[:, None]
        return self.fit_observations(observe(lines, counts, self._reference()).observations)

    def _lines(self, X: Table) -> Lines:  # noqa: N803
        return X if isinstance(X, np.ndarray) else tabulate_lines(X, self._reference())

    def _reference(self) -> Reference:
        return self.reference or load_reference()

    def fit_observations(self, observations: Observations) -> Self:
        """Fit to boxes that were observed already (`observe`); raises as `fit` does."""
        reference = self._reference()
        self.hierarchy_ = Hierarchy(observations, reference)
        rng = np.random.default_rng(self.random_state)
        # The matrices are small: threads of the linear algebra library would wait for each other.
        with threadpool_limits(1):
            self.posterior_ = Inference(InnerMode(Target(observations, self.hierarchy_))).run(
                rng=rng, n_weighed=self.n_weighed
            )
        self.draws_ = resample(self.posterior_, self.hierarchy_, reference, self.n_draws, self.random_state, rng=rng)
        self.n_boxes_, self.n_lines_ = observations.n_boxes, len(observations)
        self.diagnostics_ = {
            "effective_draws": self.posterior_.effective,
            "enough_draws": self.posterior_.effective >= LEAST_EFFECTIVE,
            "pareto_k": self.posterior_.pareto_k,
            "kappa_draws_replaced": self.posterior_.n_replaced,
            "newton_steps": self.posterior_.n_newton,
            "outer_steps": self.posterior_.n_outer,
        }
        return self

    def predict_proba(self, X: Table) -> Array:  # noqa: N803
        """Return the chances of healthy, damaged and dead in boxes not yet seen, (lines, 3)."""
        check_is_fitted(self, "draws_")
        chances = MarginalChances(self.draws_)
        lines = self._lines(X)
        result = np.empty((len(lines), 3))
        for i, row in enumerate(line_predictors(*described(lines, self.draws_.reference), self.draws_)):
            healthy, dead = (float(p.mean(dtype=np.float64)) for p in chances(row.eta))
            result[i] = healthy, 1.0 - healthy - dead, dead
        return result

    def log_predictive(self, X: Table, y: PlainCounts) -> Array:  # noqa: N803
        """Return the joint log predictive probability of the counts of each box, (boxes,), boxes by name."""
        check_is_fitted(self, "draws_")
        return box_log_predictive(observe(self._lines(X), _counts(X, y), self._reference()), self.draws_)

    def score(self, X: Table, y: PlainCounts) -> float:  # noqa: N803
        """Return the mean log predictive probability of a box."""
        return float(self.log_predictive(X, y).mean())


def _counts(X: Table, y: PlainCounts) -> Array:  # noqa: N803
    """Return counts as numbers, (lines, 4); those of a plain table are checked row by row."""
    if isinstance(X, np.ndarray):
        return np.asarray(y, dtype=np.float64)
    return read_counts(y, len(next(iter(X.values()))) if isinstance(X, Mapping) else len(X))


def resample(
    posterior: Posterior,
    hierarchy: Hierarchy,
    reference: Reference,
    n: int,
    key: int,
    *,
    rng: np.random.Generator,
) -> PosteriorDraws:
    """Return n equally weighted draws, by systematic resampling, in random order."""
    cumulative = np.cumsum(np.exp(posterior.log_weights))
    points = (np.arange(n) + rng.random()) / n * cumulative[-1]
    index = rng.permutation(np.minimum(np.searchsorted(cumulative, points), len(cumulative) - 1))
    x, theta = posterior.x[index], posterior.theta[index]
    outer = {name: np.exp(theta[:, i]) for i, name in enumerate(OUTER)}
    parameters = ParameterDraws(
        alpha=x[:, 0],
        kappa=x[:, 1],
        delta=x[:, 2],
        log_q10=np.log1p(outer["q10_less_one"]),
        chill_rate=outer["chill_rate"],
        h0=outer["h0"],
        scales={name: outer[name] for name in LEARNED_SCALES},
        n_replaced=posterior.n_replaced,
    )
    effects = {
        kind: {
            level: np.ascontiguousarray(x[:, hierarchy.slices[kind].start + i])
            for i, level in enumerate(hierarchy.levels[kind])
        }
        for kind in KINDS
    }
    late_loss = draw_late_loss(reference.late_loss_rules, n, rng=rng)
    return PosteriorDraws(parameters, late_loss, reference, key, effects)


@dataclass(frozen=True, slots=True, eq=False)
class LinePredictor:
    """One line under each draw: eta without shipment and line effects, variance of its log equivalent days."""

    eta: Array
    variance: Array


def described(lines: Lines, reference: Reference) -> tuple[tuple[Plant, ...], ExposureTable]:
    """Return the plants and the exposures of a table's lines, in its order."""
    plants = tuple(plant_of(line, reference) for line in lines)
    return plants, ExposureTable(lines["log_days"], lines["log_days_variance"])


def line_predictors(plants: Sequence[Plant], exposure: ExposureTable, draws: PosteriorDraws) -> list[LinePredictor]:
    """Return the linear predictor of each line under each draw, its exposure averaged as in the fit."""
    parameters = draws.parameters
    log_days, variance = exposure.at_draws(parameters.log_q10, np.log(parameters.chill_rate))
    effects: dict[Plant, Array] = {}
    predictors = []
    for i, plant in enumerate(plants):
        if plant not in effects:
            effects[plant] = plant_effects(plant, draws)
        eta = effects[plant] + parameters.kappa * (log_days[i] - np.log(REFERENCE_DAYS))
        predictors.append(LinePredictor(eta, variance[i]))
    return predictors


def box_log_predictive(observed: Observed, draws: PosteriorDraws) -> Array:
    """Return log mean over draws of the integrated probability of each box's counts, (boxes,)."""
    some = draws.take(np.arange(min(SCORING_DRAWS, draws.n_draws)))
    log_p = box_log_likelihood(observed, some)
    peak = log_p.max(axis=0)
    total: Array = np.log(np.exp(log_p - peak).mean(axis=0)) + peak + box_log_choose(observed)
    return total


def box_log_choose(observed: Observed) -> Array:
    """Return the log multinomial coefficients of each box's counts, (boxes,): alike under every draw."""
    observations = observed.observations
    return Grouping.of(observations.box).sum(log_choose(observations))


def box_log_likelihood(observed: Observed, draws: PosteriorDraws, *, for_weights: bool = False) -> Array:
    """Return the log probability of each box's counts under each draw, (draws, boxes), without `box_log_choose`.

    Shipment and line effects are integrated; sellers and genera without data are the draws of their levels. With
    `for_weights` as finely as the weights of a fit are, which takes a fifth of the time.
    """
    observations = observed.observations
    predictors = line_predictors(observed.plants, observations.exposure, draws)
    eta = np.stack([row.eta for row in predictors], axis=1)  # (draws, lines)
    variance = np.stack([row.variance for row in predictors], axis=1)
    c, grouping = coefficients(observations), Grouping.of(observations.box)
    nodes: dict[str, Any] = WEIGHT_INTEGRAL if for_weights else {}
    n_draws, n_lines = eta.shape
    by_box = np.stack([grouping.mean(v) for v in variance])
    parameters, scales = draws.parameters, draws.parameters.scales
    box_sd = np.sqrt(scales["shipment"][:, None] ** 2 + parameters.kappa[:, None] ** 2 * by_box)
    log_p = np.empty((n_draws, grouping.n_boxes))
    at_once = max(SCORED_LINES_AT_ONCE // n_lines, 1)
    copies = grouping.tiled(min(at_once, n_draws))
    with threadpool_limits(1):
        for start in range(0, n_draws, at_once):
            part = slice(start, min(start + at_once, n_draws))
            m = part.stop - start
            if m != copies.n_boxes // grouping.n_boxes:
                copies = grouping.tiled(m)
            setting = Setting(
                box_sd[part].ravel(),
                *(np.repeat(v[part], n_lines) for v in (scales["line"], parameters.delta, parameters.h0)),
            )
            value = BoxIntegral(np.tile(c, m), copies, **nodes).value(eta[part].ravel(), setting)
            log_p[part] = value.reshape(m, grouping.n_boxes)
    return log_p
