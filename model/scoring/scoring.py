"""Scores of a forecast of counts: what it said about a box, against what was in it.

Both scores are proper: nobody scores better on average than who says what he believes (Gneiting & Raftery 2007,
"Strictly Proper Scoring Rules, Prediction, and Estimation"). Lower is better for both.

The log score of a box is minus the log of the chance that was given to its counts, all lines jointly: the plants of a
line share a line effect, the lines of a box its journey and its shipment effect, so the chances of lines do not
multiply. The Brier score (Brier 1950, "Verification of Forecasts Expressed in Terms of Probability") is about single
plants. A plant's condition is ordered, healthy before damaged before dead, so it is taken of the two questions "healthy
or not" and "alive or dead" and averaged: half the ranked probability score (Epstein 1969, "A Scoring System for
Probability Forecasts of Ranked Categories"). Unlike the three-category form it charges less for damaged instead of
dead than for healthy instead of dead, and where a record answers one of the two questions it is scored on that one.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, xlogy

from model.quadrature import normal_nodes
from model.scoring.hazard_factors import HazardFactors

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

# A count that nobody wrote down.
UNKNOWN = -1
# Effects of genera and lines are averaged out by so many nodes each: against many more the score of a box errs by 0.03
# on average. Weights are positive, so what is scored is a distribution in its own right, and the score stays proper.
NODES = 7


def log_scores(factors: HazardFactors, counts: Counts) -> Array:
    """Return minus the log of the chance of each box's counts given how many plants of its lines were sent, (boxes,).

    It is always finite: every draw gives some chance to every condition, and chances are kept as logarithms.

    Parameters
    ----------
    factors : HazardFactors
    counts : (lines, 4)
        Healthy, damaged, dead and sent of each line; -1 where unknown. A line of which only healthy or only dead plants
        were counted is scored on that count alone, one of which nothing was counted not at all.
    """
    nodes, weights = (array[:, None, None] for array in normal_nodes(NODES))
    n_boxes, n_draws = factors.common.shape
    draws = np.zeros((n_boxes, n_draws))
    genera, first, of_genus, size = np.unique(factors.genus, return_index=True, return_inverse=True, return_counts=True)
    # A genus of one line has nothing to share, and its effect is part of the line's own.
    single = first[size == 1]
    if len(single):
        hazards = factors.hazards(single, np.zeros(1), nodes)
        np.add.at(draws, factors.box[single], _log_mean(_log_chances(*hazards, counts[single]), weights))
    for genus in np.arange(len(genera))[size > 1]:
        (members,) = np.nonzero(of_genus == genus)
        hazards = factors.hazards(members, nodes[:, None], nodes)
        of_lines = _log_mean(_log_chances(*hazards, counts[members]), weights, axis=1)
        draws[factors.box[members[0]]] += _log_mean(of_lines.sum(axis=1), weights[:, :, 0])
    orderings = np.bincount(factors.box, weights=_log_orderings(counts), minlength=n_boxes)
    clock = _log_mean(draws.T, np.full((n_draws, 1), 1.0 / n_draws))
    scores: Array = -_or_lost(clock, factors, counts) - orderings
    return scores


def _or_lost(clock: Array, factors: HazardFactors, counts: Counts) -> Array:
    """Return the log chance of each box's counts, in one order, where it may also be lost whole, (boxes,)."""
    box = factors.box
    healthy_chance, dead_chance = factors.lost_healthy[box], factors.lost_dead[box]
    healthy, damaged, dead, sent = counts.T
    three, only_healthy, only_dead = _known(counts)
    of_lines = np.select(
        [three, only_healthy, only_dead],
        [
            xlogy(healthy, healthy_chance)
            + xlogy(damaged, 1.0 - healthy_chance - dead_chance)
            + xlogy(dead, dead_chance),
            xlogy(healthy, healthy_chance) + xlogy(sent - healthy, 1.0 - healthy_chance),
            xlogy(sent - dead, 1.0 - dead_chance) + xlogy(dead, dead_chance),
        ],
        default=0.0,
    )
    lost_whole = np.bincount(box, weights=of_lines, minlength=len(clock))
    with np.errstate(divide="ignore"):  # never lost, or always
        mixed: Array = np.logaddexp(np.log1p(-factors.lost) + clock, np.log(factors.lost) + lost_whole)
    return mixed


def _log_mean(logs: Array, weights: Array, axis: int = 0) -> Array:
    """Return the log of a weighted mean over an axis."""
    most = logs.max(axis=axis, keepdims=True)
    mean: Array = np.log((weights * np.exp(logs - most)).sum(axis=axis)) + most.squeeze(axis)
    return mean


def _log_chances(loss: Array, death: Array, counts: Counts) -> Array:
    """Return the log chance that the plants of each line, in one order, are as counted; shaped as the hazards."""
    healthy, damaged, dead, sent = counts.T
    three, only_healthy, only_dead = _known(counts)
    total: Array = -loss * np.where(three | only_healthy, healthy, 0)[:, None]
    total -= death * np.where(only_dead, sent - dead, 0)[:, None]
    for kind, number in (
        ("dead", np.where(three | only_dead, dead, 0)),
        ("not healthy", np.where(only_healthy, sent - healthy, 0)),
        ("damaged", np.where(three, damaged, 0)),
    ):
        some = number > 0
        if some.any():
            total[..., some, :] += number[some, None] * _log_chance(kind, loss[..., some, :], death[..., some, :])
    return total


def _log_chance(kind: str, loss: Array, death: Array) -> Array:
    if kind == "damaged":
        return _log_of_failing(loss - death) - death
    return _log_of_failing(death if kind == "dead" else loss)


def _log_of_failing(hazard: Array) -> Array:
    """Return log(1 - exp(-hazard)): in relative terms exact for small hazards, within 1e-16 for large ones."""
    failing: Array = np.log(-np.expm1(-hazard))
    return failing


def _known(counts: Counts) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which lines have all three counts, only the healthy one, only the dead one; (lines,) each."""
    healthy, damaged, dead, _ = (counts >= 0).T
    three = healthy & damaged & dead
    return three, healthy & ~three, dead & ~healthy


def _log_orderings(counts: Counts) -> Array:
    """Return the log of the number of orders in which the plants of each line can have these counts, (lines,)."""
    healthy, damaged, dead, sent = counts.T.astype(float)
    three, only_healthy, only_dead = _known(counts)
    whole = gammaln(sent + 1.0)
    return np.select(
        [three, only_healthy, only_dead],
        [
            whole - gammaln(healthy + 1.0) - gammaln(damaged + 1.0) - gammaln(dead + 1.0),
            whole - gammaln(healthy + 1.0) - gammaln(sent - healthy + 1.0),
            whole - gammaln(dead + 1.0) - gammaln(sent - dead + 1.0),
        ],
        default=0.0,
    )


def brier_score(healthy_chance: Array, dead_chance: Array, counts: Counts) -> float:
    """Return the mean over the plants of a box of the Brier scores of "healthy or not" and "alive or dead".

    Parameters
    ----------
    healthy_chance, dead_chance : (lines,)
        Given to each plant of a line.
    counts : (lines, 4)
        As in `log_score`; each question is averaged over the plants for which it was answered.

    Raises
    ------
    ValueError
        If no plant was counted.
    """
    sent = counts[:, 3].astype(float)
    scores = []
    for chance, number in ((healthy_chance, counts[:, 0]), (dead_chance, counts[:, 2])):
        answered = (number >= 0) & (sent > 0)
        if answered.any():
            n, p = sent[answered], chance[answered]
            share = number[answered] / n
            scores.append(float(((p - share) ** 2 + share * (1.0 - share)) @ n / n.sum()))
    if not scores:
        raise ValueError("no plant was counted")
    return sum(scores) / len(scores)


def drawn_counts(
    factors: HazardFactors, sent: Counts, n_each: int, *, rng: np.random.Generator
) -> tuple[Counts, Counts]:
    """Return draws of the healthy and of the dead plants of a single box, (draws x n_each,) each.

    Parameters
    ----------
    factors : HazardFactors
    sent : (lines,)
        Plants of each line in the box.
    n_each : int
        Counts drawn from each draw of the common factor, with effects of genus and line of their own; the box is lost
        whole in its share of them.
    rng : numpy.random.Generator
    """
    n_lines, n_draws = len(factors.genus), factors.common.shape[1]
    of_genus = rng.standard_normal((n_each, n_lines, n_draws))[:, factors.genus]
    own = rng.standard_normal((n_each, n_lines, n_draws))
    loss, death = factors.hazards(np.arange(n_lines), of_genus, own)
    # Of a generator of its own, so that the other draws are those of a box that is never lost.
    lost = rng.spawn(1)[0].random((n_each, 1, n_draws)) < factors.lost
    lost_alive = float(1.0 - factors.lost_dead[0])
    lost_sound = float(factors.lost_healthy[0]) / lost_alive if lost_alive > 0.0 else 0.0
    alive = rng.binomial(sent[:, None], np.where(lost, lost_alive, np.exp(-death)))
    healthy = rng.binomial(alive, np.where(lost, min(lost_sound, 1.0), np.exp(death - loss)))
    return healthy.sum(axis=1).ravel(), (sent[:, None] - alive).sum(axis=1).ravel()
