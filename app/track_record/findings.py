"""What the forecasts got right and what they got wrong, each in a sentence that needs no statistics."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
from scipy.special import ndtri

from app.batch import boxes_words, group_words
from app.schemas import Finding, FindingState, RangesHeld, ScoreDifference, TrackPart
from app.track_record.verdict import FEWEST_BOXES, TOO_FEW, width_words
from model.quadrature import SCORE_P90
from model.reference import Reference
from model.scoring import paired_mean

# Of a normal distribution the middle 95 % are so many times as wide as the middle 80 %.
SURE_TIMES = float(ndtri(0.975)) / SCORE_P90


class Expected(NamedTuple):
    """Plants of one box: healthy ones as forecast on average, those found, and all of which it was counted."""

    healthy: float
    found: int
    sent: int


def findings(
    boxes: Sequence[Expected],
    counts: RangesHeld,
    days: RangesHeld,
    difference: ScoreDifference | None,
    parts: Iterable[TrackPart],
    reference: Reference,
) -> list[Finding]:
    """Return what can be said of the forecasts of boxes that have arrived, the wrong first.

    Parameters
    ----------
    boxes : sequence of Expected
        Boxes in which healthy plants were counted.
    counts, days : RangesHeld
        Of the 80 % ranges of the number of plants and of the days in transit.
    difference : ScoreDifference or None
        Log score of the forecasts less that of the rules of thumb.
    parts : iterable of TrackPart
        Services, groups and seasons with boxes enough.
    reference : Reference
    """
    found = [_expected(boxes)] if boxes else []
    if counts.n:
        found.append(_ranges("plants_range", "The number of plants", counts))
    if days.n:
        found.append(_ranges("days_range", "The days on the way", days))
    if difference is not None:
        found.append(_against_rules(difference))
    for part in parts:
        state, words = _width(part.counts_held)
        if state == "wrong":
            text = f"{_part_words(part, reference)}: the ranges of the number of plants are {words}."
            found.append(Finding(state=state, code="part_range", text=text))
    order: tuple[FindingState, ...] = ("wrong", "right", "unclear")
    return sorted(found, key=lambda one: order.index(one.state))


def _expected(boxes: Sequence[Expected]) -> Finding:
    rows = np.array(boxes, dtype=np.float64)
    healthy, came, sent = rows.sum(axis=0).tolist()
    said = f"Of {sent:,.0f} plants the forecasts expected {healthy:,.0f} healthy, and {came:,.0f} were"
    if len(rows) < FEWEST_BOXES:
        return Finding(state="unclear", code="plants_expected", text=f"{said}: {TOO_FEW}.")
    mean = paired_mean((rows[:, 1] - rows[:, 0]) / rows[:, 2])
    half = mean.mean - (mean.low if mean.low is not None else mean.mean)
    lean = "too gloomy" if mean.mean > 0 else "too hopeful"
    if abs(mean.mean) <= half:
        return Finding(state="right", code="plants_expected", text=f"{said}: about right.")
    if abs(mean.mean) <= SURE_TIMES * half:
        return Finding(state="unclear", code="plants_expected", text=f"{said}: slightly {lean}, could be chance.")
    return Finding(state="wrong", code="plants_expected", text=f"{said}: {lean}, and that is hardly chance.")


def _ranges(code: str, what: str, held: RangesHeld) -> Finding:
    state, words = _width(held)
    expected = f"{held.expected:.1f}" if held.n < FEWEST_BOXES else f"{held.expected:,.0f}"
    boxes = boxes_words(held.n)
    text = f"{what} lay in the forecast's range in {held.held:,} of {boxes}, where about {expected} should: {words}."
    return Finding(state=state, code=code, text=text)


def _width(held: RangesHeld) -> tuple[FindingState, str]:
    if held.n < FEWEST_BOXES:
        return "unclear", TOO_FEW
    words = width_words(held)
    if words == "about right":
        return "right", words
    return ("wrong" if "hardly" in words else "unclear"), words


def _against_rules(difference: ScoreDifference) -> Finding:
    boxes = boxes_words(difference.boxes)
    how = "better" if difference.mean < 0.0 else "worse"
    said = f"In {boxes} the forecasts foretold what came {how} than the rules of thumb alone"
    if difference.boxes < FEWEST_BOXES or difference.low is None or difference.high is None:
        return Finding(state="unclear", code="against_rules", text=f"{said}: {TOO_FEW}.")
    if difference.low <= 0.0 <= difference.high:
        return Finding(state="unclear", code="against_rules", text=f"{said}: could be chance.")
    state: FindingState = "right" if difference.mean < 0.0 else "wrong"
    return Finding(state=state, code="against_rules", text=f"{said}, by more than chance would explain.")


def _part_words(part: TrackPart, reference: Reference) -> str:
    if part.by == "service":
        return f"By {reference.services[part.level].name}"
    return f"For {group_words(part.level)}" if part.by == "group" else f"From {part.level}"
