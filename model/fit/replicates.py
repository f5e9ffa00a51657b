"""Counts of the same boxes as a fit would have them come again, for posterior predictive checks.

A box's shipment effect and its lines' effects are drawn anew, and with some chance it is lost whole or its record is
wrong (Gelman, Meng & Stern 1996, Statistica Sinica 6:733; with effects drawn anew the replicated boxes are other boxes
of the same sellers, genera and dates).
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.fit.box_predictive import line_predictors
from model.fit.grouping import Grouping
from model.fit.lines import CONSIGNMENT, Observed
from model.fit.observations import Observations
from model.fit.strangers import replace_unnamed
from model.fit.strays import StrayRates
from model.predict import PosteriorDraws, box_chances
from model.reference import CONSTANTS

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

# Draws times lines that are counted at once.
CELLS_AT_ONCE = 500_000


class Replicated(NamedTuple):
    """Counts of healthy and dead plants, (draws, lines) each."""

    healthy: Counts
    dead: Counts


def replicated_counts(
    observed: Observed, draws: PosteriorDraws, *, wrong: StrayRates, rng: np.random.Generator
) -> Iterator[Replicated]:
    """Yield the counts under runs of the draws, one replicate a draw.

    Lines of which only healthy or only dead plants were counted are replicated whole: compare what was counted.

    Parameters
    ----------
    observed : Observed
    draws : PosteriorDraws
    wrong : StrayRates
        How often records are wrong, and what becomes of a box lost whole.
    rng : numpy.random.Generator
    """
    predictors = line_predictors(replace_unnamed(observed).plants, observed.observations.exposure, draws)
    eta, variance = np.stack([row.eta for row in predictors], axis=1), np.stack([row.variance for row in predictors], 1)
    at_once = max(CELLS_AT_ONCE // eta.shape[1], 1)
    for start in range(0, draws.n_draws, at_once):
        own = np.arange(start, min(start + at_once, draws.n_draws))
        yield _counted(observed.observations, draws.take(own), (eta[own], variance[own]), wrong=wrong, rng=rng)


def _counted(
    observations: Observations,
    draws: PosteriorDraws,
    predictors: tuple[Array, Array],
    *,
    wrong: StrayRates,
    rng: np.random.Generator,
) -> Replicated:
    """Return one replicate under each draw; `predictors` are eta without a box's effects and the variance of log D."""
    eta, variance = predictors
    parameters, grouping = draws.parameters, Grouping.of(observations.box)
    n, box = len(eta), observations.box
    line = parameters.scales["line"][:, None] * rng.standard_normal(eta.shape)
    effects = _box_effects(observations, draws, grouping.mean(variance), rng=rng)[:, box] + line
    healthy, dead = box_chances(eta + effects, parameters.delta[:, None], parameters.h0[:, None])
    lost = (rng.random((n, grouping.n_boxes)) < parameters.lost[:, None])[:, box]
    healthy, dead = np.where(lost, wrong.healthy, healthy), np.where(lost, wrong.dead, dead)
    # A wrong record of a line within a wrong one of its box changes nothing.
    stray = (rng.random((n, grouping.n_boxes)) < wrong.box)[:, box]
    by_line = ~lost & (rng.random(eta.shape) < wrong.line)
    of_lines, of_boxes = (_any_shares(observations, shape, rng=rng) for shape in (eta.shape, (n, grouping.n_boxes)))
    for place, shares in ((by_line, of_lines), (stray, of_boxes)):
        healthy, dead = (np.where(place, new, old) for new, old in zip(shares, (healthy, dead), strict=True))
    sent = np.broadcast_to(observations.sent.astype(np.int64), eta.shape)
    alive = rng.binomial(sent, healthy)
    # Of the others, by the chance of death given that a plant is not healthy.
    rest = np.maximum(1.0 - healthy, np.finfo(float).tiny)
    return Replicated(alive, rng.binomial(sent - alive, np.clip(dead / rest, 0.0, 1.0)))


def _box_effects(
    observations: Observations, draws: PosteriorDraws, variance: Array, *, rng: np.random.Generator
) -> Array:
    """Return what is drawn for each box: its journey, its own effect and that of its consignment; (draws, boxes)."""
    first = np.unique(observations.box, return_index=True)[1]
    consignment = observations.codes[CONSIGNMENT][first]
    shipment, kappa = (own[:, None] for own in (draws.parameters.scales["shipment"], draws.parameters.kappa))
    common = rng.standard_normal((len(shipment), len(observations.levels[CONSIGNMENT]) + 1))[:, consignment]
    share = np.where(consignment >= 0, CONSTANTS.consignment_share, 0.0)
    own = np.sqrt((1.0 - share) * shipment**2 + kappa**2 * variance)
    effects: Array = own * rng.standard_normal(own.shape) + np.sqrt(share) * shipment * common
    return effects


def _any_shares(observations: Observations, shape: tuple[int, int], *, rng: np.random.Generator) -> tuple[Array, Array]:
    """Return shares healthy and dead of wrong records, (draws, lines): all as likely, of what was counted.

    Drawn for each line, or for each box as `shape` says.
    """
    thirds = rng.standard_exponential((3, *shape))
    thirds /= thirds.sum(axis=0)
    halves = rng.random(shape)
    if shape[1] != len(observations):
        thirds, halves = thirds[..., observations.box], halves[:, observations.box]
    only_healthy, only_dead = np.isnan(observations.dead), np.isnan(observations.healthy)
    healthy = np.where(only_healthy, halves, np.where(only_dead, 0.5 * (1.0 - halves), thirds[0]))
    dead = np.where(only_dead, halves, np.where(only_healthy, 0.5 * (1.0 - halves), thirds[2]))
    return healthy, dead
