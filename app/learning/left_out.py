"""Log scores of boxes that were left out one by one, by which a candidate is compared and a fit criticised."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.learning.fit import Recorded, draws_beside
from app.serving import PRIOR_SEED, rules_draws
from app.store import ArrivedBoxes
from model.fit import RATES, Observed, box_log_likelihoods, box_log_predictive, leave_one_out
from model.predict import PosteriorDraws
from model.reference import Reference

Array = NDArray[np.float64]

# So many boxes are compared; the standard error of the difference is small by then.
MOST_JUDGED = 400
JUDGING_DRAWS = 2048
# Of the rules of thumb where they decide nothing, for the criticism.
RULES_DRAWS = 1024


class Compared(NamedTuple):
    """Boxes by which a candidate is compared, (compared,), and which of all the active version has seen, (boxes,)."""

    boxes: NDArray[np.intp]
    known: NDArray[np.bool_]


class Scores(NamedTuple):
    """Log scores of the compared boxes by the candidate and by the active version, each left out; (compared,)."""

    candidate: Array
    active: Array


def compared_boxes(recorded: Recorded, arrived: ArrivedBoxes, *, seen: int) -> Compared:
    """Return all boxes, or those new to the active version as they stand and some of the others.

    `seen` is the revision of the ledger that the active version has seen.
    """
    shipments = recorded.shipment_of_box
    known = arrived.shipments.corrected_revision[shipments] <= seen
    order = np.random.default_rng(PRIOR_SEED).permutation(len(shipments))
    return Compared(np.sort(order[np.argsort(known[order], kind="stable")][:MOST_JUDGED]), known)


def scores_by_box(
    candidate: PosteriorDraws,
    active: PosteriorDraws,
    observed: Observed,
    compared: Compared,
    n_weighed: int | None,
) -> Scores:
    """Return the log scores of the candidate without each box and of the active version.

    The active version too is to predict the boxes that it has seen as they stand without them. Records may be wrong,
    for both alike: a box dated a month off is told by neither, and would decide for the one that happens to be less
    sure.
    """
    boxes = observed.of_boxes(compared.boxes)
    new, uncertain = left_out_score(boxes, candidate, np.ones(len(compared.boxes), dtype=bool))
    if uncertain.any():
        # Boxes that pull the fit about are left out in earnest, all in one fit more.
        rest = observed.of_boxes(np.setdiff1d(np.arange(len(compared.known)), compared.boxes[uncertain]))
        without = draws_beside(rest.observations, candidate.reference, n_weighed)
        new[uncertain] = box_log_predictive(boxes.of_boxes(np.flatnonzero(uncertain)), without, wrong=RATES)
    old, _ = left_out_score(boxes, active, compared.known[compared.boxes])
    return Scores(new, old)


def scores_by_rules(boxes: Observed, reference: Reference) -> Array:
    """Return the log scores of boxes by the rules of thumb, (boxes,)."""
    rules = rules_draws(reference).take(np.arange(RULES_DRAWS))
    return left_out_score(boxes, rules, np.zeros(boxes.observations.n_boxes, dtype=bool))[0]


def left_out_score(boxes: Observed, draws: PosteriorDraws, seen: NDArray[np.bool_]) -> tuple[Array, NDArray[np.bool_]]:
    """Return the log score of each box by draws without it where they have seen it, and whether that is uncertain."""
    some = draws.take(np.arange(min(JUDGING_DRAWS, draws.n_draws)))
    log_p = box_log_likelihoods(boxes, some, wrong=RATES, for_weights=True)
    weights = leave_one_out(log_p, seen)
    return weights.log_mean(log_p), weights.rough
