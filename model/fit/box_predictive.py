"""The counts of a box under each posterior draw, its shipment and line effects integrated, and averaged over draws.

Needs nothing of the fit but its likelihood, so the server may load it: neither scikit-learn nor sparse matrices.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from model.exposure import ExposureTable
from model.fit.box_integral import (
    WEIGHT_BOX_NODES,
    WEIGHT_LINE_NODES,
    WEIGHT_MODE_TOLERANCE,
    BoxIntegral,
    Setting,
)
from model.fit.grouping import Grouping
from model.fit.likelihood import coefficients, log_choose
from model.fit.lines import Lines, Observed, plant_of
from model.fit.strays import RATES, StrayRates, Strays
from model.plant import Plant, time_predictor
from model.predict import PosteriorDraws, plant_effects
from model.reference import Reference

Array = NDArray[np.float64]

# Held-out boxes are scored with the first of the draws, so many.
SCORING_DRAWS = 512
SCORED_LINES_AT_ONCE = 4096
WEIGHT_INTEGRAL = {
    "box_nodes": WEIGHT_BOX_NODES,
    "line_nodes": WEIGHT_LINE_NODES,
    "mode_tolerance": WEIGHT_MODE_TOLERANCE,
    "single": True,
}


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
        eta = effects[plant] + time_predictor(parameters.kappa, log_days[i])
        predictors.append(LinePredictor(eta, variance[i]))
    return predictors


def box_log_predictive(observed: Observed, draws: PosteriorDraws, *, wrong: StrayRates | None = None) -> Array:
    """Return log mean over draws of the integrated probability of each box's counts, (boxes,); `wrong` as below."""
    log_p = box_log_likelihoods(observed, draws.take(np.arange(min(SCORING_DRAWS, draws.n_draws))), wrong=wrong)
    peak = log_p.max(axis=0)
    total: Array = np.log(np.exp(log_p - peak).mean(axis=0)) + peak
    return total


def log_lost_whole(observed: Observed) -> Array:
    """Return the log probability of each box's counts if it was lost whole, (boxes,)."""
    observations = observed.observations
    own = Strays.of(observations, RATES).box_lost + Grouping.of(observations.box).sum(log_choose(observations))
    return np.asarray(own)


def box_log_likelihoods(
    observed: Observed, draws: PosteriorDraws, *, wrong: StrayRates | None = None, for_weights: bool = False
) -> Array:
    """Return the log probability of each box's counts under each draw, (draws, boxes).

    Shipment and line effects of the box are integrated; multinomial coefficients are in it. A box may be lost whole;
    where `wrong` is given, its record may be wrong as well. Sellers and genera without data are the draws of their
    levels. With `for_weights` as finely as the weights of a fit are, which takes a fifth of the time.
    """
    observations = observed.observations
    predictors = line_predictors(observed.plants, observations.exposure, draws)
    eta = np.stack([row.eta for row in predictors], axis=1)  # (draws, lines)
    variance = np.stack([row.variance for row in predictors], axis=1)
    c, grouping = coefficients(observations), Grouping.of(observations.box)
    strays = Strays.of(observations, RATES._replace(box=0.0, line=0.0) if wrong is None else wrong)
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
            line_sd, delta, h0 = (
                np.repeat(v[part], n_lines) for v in (scales["line"], parameters.delta, parameters.h0)
            )
            lost = np.repeat(parameters.lost[part], grouping.n_boxes)
            setting = Setting(box_sd[part].ravel(), line_sd, delta, h0, lost)
            integral = BoxIntegral(np.tile(c, m), copies, strays=strays.tiled(m), **nodes)
            value = integral.value(eta[part].ravel(), setting)
            log_p[part] = value.reshape(m, grouping.n_boxes)
    total: Array = log_p + grouping.sum(log_choose(observations))
    return total
