"""Whether a fitted candidate is served: what is asked of every one, and the comparison box by box.

Each box is predicted by the candidate as if it had not seen it (Pareto-smoothed leave-one-out: Vehtari, Gelman & Gabry
2017), and so by the active version where that has seen it as it stands. The joint log score of a box is the log
probability of all its counts together.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.plant import log_cumulative_hazard, total_spread
from model.predict import PosteriorDraws
from model.prior import CommonParameters, rule_shares
from model.reference import CONSTANTS, Rule

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether the candidate is activated, and why, in plain words."""

    activate: bool
    reason: str


def outside(rules: Sequence[Rule], draws: PosteriorDraws) -> Array:
    """Return how far the mean answer to each rule lies outside its range, in widths of the range, (rules,)."""
    p = draws.parameters
    common = CommonParameters(p.alpha, p.kappa, p.delta, p.log_q10, p.h0)
    shares = rule_shares(rules, common, spread=total_spread(p.scales, draws.reference)).mean(axis=0)
    dead = np.array([rule.outcome == "dead" for rule in rules])
    ranges = np.array([[rule.low, rule.high] for rule in rules])
    ends = np.sort(log_cumulative_hazard(ranges, dead[:, None]), axis=1)
    answer = log_cumulative_hazard(shares, dead)
    beyond: Array = np.maximum(np.maximum(ends[:, 0] - answer, answer - ends[:, 1]), 0.0) / np.diff(ends, axis=1)[:, 0]
    return beyond


def too_far(own: Array, was: Array) -> NDArray[np.bool_]:
    """Return which answers lie further outside than they may, (rules,).

    `own` says how far each lies, `was` how far it lies with the active version, in widths of the range.
    """
    beyond: NDArray[np.bool_] = own > np.maximum(CONSTANTS.gate_outside_widths, was + CONSTANTS.gate_further_widths)
    return beyond


def judge(candidate: PosteriorDraws, active: PosteriorDraws, *, difference: Array, n_new: int, before: str) -> Verdict:
    """Return whether a candidate whose fit has converged and is finite is activated.

    Parameters
    ----------
    candidate, active : PosteriorDraws
    difference : (boxes,)
        Log score of the candidate less that of the active version.
    n_new : int
        Boxes that the active version has not seen, or not as they stand.
    before : str
        What the active version is called in the reason.
    """
    if len(difference) < CONSTANTS.gate_least_boxes:
        return _few(candidate, active, len(difference), before)
    mean, se = float(difference.mean()), float(difference.std(ddof=1) / np.sqrt(len(difference)))
    of_them = f" ({n_new:,} new or corrected since that was made)" if n_new < len(difference) else ""
    on = f"on {_boxes(len(difference))} left out one by one{of_them}"
    score = f"log score {{}} {abs(mean):.3f} a box, standard error {se:.3f}"
    if mean + CONSTANTS.gate_worse_errors * se < 0:
        return Verdict(
            False,
            f"Kept, not activated: it foresees boxes that it was not shown worse than {before}, beyond noise, "
            f"{on} ({score.format('worse by')}).",
        )
    how = "better than" if mean > 0 else "no worse beyond noise than"
    by = "better by" if mean > 0 else "apart by"
    return Verdict(
        True,
        f"Activated: it foresees boxes that it was not shown {how} {before}, {on} ({score.format(by)}).",
    )


def _few(candidate: PosteriorDraws, active: PosteriorDraws, n_boxes: int, before: str) -> Verdict:
    rules = candidate.reference.rules
    broken = np.flatnonzero(too_far(outside(rules, candidate), outside(rules, active)))
    few = f"{_boxes(n_boxes)} {'is' if n_boxes == 1 else 'are'} too few to compare it with {before}"
    if len(broken):
        rule = rules[broken[0]].text
        return Verdict(False, f"Kept, not activated: it no longer answers the rule of thumb “{rule}”, and {few}.")
    return Verdict(True, f"Activated: the fit converged and answers the rules of thumb; {few}.")


def _boxes(n: int) -> str:
    return "one box" if n == 1 else f"{n:,} boxes"
