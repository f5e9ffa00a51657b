"""What a fit is asked about itself, once: predictive checks, what its answers rest on, boxes left out one by one."""

from collections.abc import Sequence
from typing import Literal, NamedTuple
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from app.serving import Criticism, LeftOutBox, LeftOutScores, PredictiveCheck, RestsOn
from model.fit import RATES, Fitted, Observations, Observed, prior_sensitivity, replicated_counts
from model.predict import PosteriorDraws
from model.reference import CONSTANTS, Reference
from model.scoring import Check, predictive_check

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Counts = Array | NDArray[np.int64]

# Replicates: the 2.5 % at an end are then off by half a percent.
REPLICATES = 1024
# Months from and to of each quarter of the year, as they are named in `PredictiveCheck.level`; or of its half.
QUARTERS = ("01-03", "04-06", "07-09", "10-12")
HALVES = ("10-03", "04-09", "04-09", "10-03")
# Boxes that are listed one by one.
MOST_LISTED = 20


def criticism(observed: Observed, shipped: NDArray[np.datetime64], fitted: Fitted, reference: Reference) -> Criticism:
    """Return the criticism of a fit, without scores of boxes left out.

    Parameters
    ----------
    observed : Observed
        The boxes that it was fitted to.
    shipped : (boxes,)
        Ship dates.
    fitted : Fitted
    reference : Reference
    """
    found = prior_sensitivity(fitted, reference)
    return Criticism(
        checks=predictive_checks(observed, shipped, fitted.draws),
        rests=[RestsOn(**one._asdict(), on=one.on) for one in found.rests],
        prior_pareto_k=_finite(found.prior_pareto_k),
        likelihood_pareto_k=_finite(found.likelihood_pareto_k),
    )


def _finite(k: float) -> float | None:
    return k if np.isfinite(k) else None


class _Group(NamedTuple):
    """Lines whose share healthy is looked at, (lines,), and what they have in common."""

    about: Literal["season", "seller"]
    level: str
    lines: Mask


def predictive_checks(
    observed: Observed, shipped: NDArray[np.datetime64], draws: PosteriorDraws
) -> list[PredictiveCheck]:
    """Return the checks of boxes with no survivor, and of shares healthy by season and seller; parameters as above."""
    observations = observed.observations
    starts, sent = np.unique(observations.box, return_index=True)[1], observations.sent
    groups = _groups(observations, shipped)
    members = np.array([group.lines for group in groups], dtype=float).reshape(len(groups), len(sent)).T
    counted = np.logical_and.reduceat(~np.isnan(observations.dead), starts)

    def shares(healthy: Counts) -> Array:
        share: Array = np.nan_to_num(healthy) @ members / (sent @ members)
        return share

    def no_survivor(dead: Counts) -> Array:
        """Return how many boxes have none, of those whose dead were counted."""
        own: Array = (np.logical_and.reduceat(dead == sent, starts, axis=-1) & counted).sum(axis=-1)
        return own

    few = draws.take(np.arange(min(REPLICATES, draws.n_draws)))
    rng = np.random.default_rng([draws.key, crc32(b"predictive checks")])
    runs = [
        (no_survivor(again.dead), shares(again.healthy))
        for again in replicated_counts(observed, few, wrong=RATES, rng=rng)
    ]
    n_lost, by_group = (np.concatenate(part) for part in zip(*runs, strict=True))
    checks = []
    if counted.any():
        found = predictive_check(float(no_survivor(observations.dead)), n_lost)
        checks.append(_stored(found, "no_survivor", "", int(counted.sum())))
    for group, share, replicated in zip(groups, shares(observations.healthy), by_group.T, strict=True):
        n_boxes = len(np.unique(observations.box[group.lines]))
        checks.append(_stored(predictive_check(float(share), replicated), group.about, group.level, n_boxes))
    return checks


def _stored(check: Check, about: Literal["no_survivor", "season", "seller"], level: str, boxes: int) -> PredictiveCheck:
    return PredictiveCheck(about=about, level=level, boxes=boxes, **check._asdict())


def _groups(observations: Observations, shipped: NDArray[np.datetime64]) -> list[_Group]:
    """Return the lines whose healthy plants were counted of each season and seller with boxes enough."""
    known = ~np.isnan(observations.healthy)
    has_lines = np.bincount(observations.box[known], minlength=observations.n_boxes) > 0
    quarter = shipped.astype("datetime64[M]").astype(int) % 12 // 3
    by_quarter = np.bincount(quarter[has_lines], minlength=4)
    thin = by_quarter[by_quarter > 0].min(initial=CONSTANTS.few_boxes) < CONSTANTS.few_boxes
    season = np.array(HALVES if thin else QUARTERS)[quarter][observations.box]
    seller = observations.codes["seller"]
    groups = [_Group("season", name, known & (season == name)) for name in np.unique(season).tolist()]
    groups += [
        _Group("seller", str(name), known & (seller == code)) for code, name in enumerate(observations.levels["seller"])
    ]
    return [one for one in groups if len(np.unique(observations.box[one.lines])) >= CONSTANTS.few_boxes]


def left_out_scores(scores: Array, rules: Array, names: Sequence[str]) -> LeftOutScores:
    """Return the scores of boxes by the fit without each and by the rules of thumb, (boxes,), in all and by box."""
    gain = scores - rules
    n = len(gain)
    furthest = np.argsort(-np.abs(gain), kind="stable")[:MOST_LISTED]
    return LeftOutScores(
        boxes=n,
        better=int((gain > 0).sum()),
        score=float(scores.sum()),
        rules=float(rules.sum()),
        difference=float(gain.mean()),
        standard_error=float(gain.std(ddof=1) / np.sqrt(n)) if n > 1 else None,
        by_box=[LeftOutBox(shipment=names[box], score=float(scores[box]), rules=float(rules[box])) for box in furthest],
    )
