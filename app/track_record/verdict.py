"""What a track record comes to, in plain words."""

import numpy as np

from app.batch import boxes_words
from app.schemas import RangesHeld, ScoreDifference
from model.reference import CONSTANTS
from model.scoring import successes

FEWEST_BOXES = CONSTANTS.record_least_boxes
TOO_FEW = f"too few boxes to judge (fewer than {FEWEST_BOXES})"
HARDLY_CHANCE = CONSTANTS.record_hardly_chance
NO_BOX = (
    "No box with a forecast stored before its arrival has been opened and counted yet: nothing can be said of the "
    "forecasts."
)


def verdict(level: float, counts: RangesHeld, difference: ScoreDifference | None, lost: int) -> str:
    """Return what is to be said of the ranges of one level and of the forecasts against the rules of thumb.

    Parameters
    ----------
    level : float
    counts : RangesHeld
        Of the ranges of the number of plants.
    difference : ScoreDifference or None
        Log score of the forecasts less that of the rules.
    lost : int
        Boxes with a forecast that never came.
    """
    sentences = [ranges_verdict(level, counts)] if counts.n else []
    if counts.n >= FEWEST_BOXES and (leaning := _leaning(counts)):
        sentences.append(leaning)
    sentences.append(rules_verdict(difference))
    if lost:
        boxes = "1 lost box is" if lost == 1 else f"{lost:,} lost boxes are"
        sentences.append(f"{boxes} in no score: all this is about boxes that came.")
    return " ".join(sentences)


def ranges_verdict(level: float, counts: RangesHeld) -> str:
    """Return how often ranges held, how often they should have, and what that means."""
    boxes = "box" if counts.n == 1 else f"{counts.n:,} boxes"
    times = {0: "never", 1: "once"}.get(counts.held, f"{counts.held:,} times")
    few = counts.n < FEWEST_BOXES
    expected = f"{counts.expected:.1f}" if few else f"{counts.expected:,.0f}"
    said = (
        f"Of {'1 ' if counts.n == 1 else ''}{boxes} the {level:.0%} range held the count {times}; such whole-number "
        f"ranges should hold about {expected}: "
    ).replace("%", " %")
    return said + (f"{TOO_FEW}." if few else f"{width_words(counts)}.")


def width_words(counts: RangesHeld) -> str:
    """Return whether ranges are too narrow or too wide, and whether that may be chance."""
    for tail, word in ((counts.chance_fewer, "narrow"), (counts.chance_more, "wide")):
        if tail < HARDLY_CHANCE:
            return f"too {word}, and that is hardly chance"
        if tail < CONSTANTS.record_perhaps_chance:
            return f"slightly too {word}, could be chance"
    return "about right"


def _leaning(counts: RangesHeld) -> str | None:
    """Return on which side the misses lie, where it is hardly chance."""
    misses = counts.below + counts.above
    if misses < CONSTANTS.record_least_misses:
        return None
    fewer = min(counts.below, counts.above)
    if 2.0 * float(successes(np.full(misses, 0.5))[: fewer + 1].sum()) >= 2.0 * HARDLY_CHANCE:
        return None
    below = counts.below > counts.above
    side = "below" if below else "above"
    return f"Of the {misses} misses {misses - fewer} lie {side} the range: a lean to one side, hardly chance."


def rules_verdict(difference: ScoreDifference | None) -> str:
    """Return whether the forecasts told more than the rules of thumb alone."""
    if difference is None:
        return "All forecasts were those of the rules of thumb, so there is nothing to compare them with."
    boxes = boxes_words(difference.boxes)
    if difference.mean == 0.0:
        return f"In {boxes} the forecasts foretold what came as the rules of thumb alone did."
    better = "better" if difference.mean < 0.0 else "worse"
    said = (
        f"In {boxes} the forecasts foretold what came {better} than the rules of thumb alone "
        f"(log score {better} by {abs(difference.mean):.2f} a box): "
    )
    if difference.boxes < FEWEST_BOXES or difference.low is None or difference.high is None:
        return f"{said}{TOO_FEW}."
    if difference.low <= 0.0 <= difference.high:
        return said + "could be chance."
    return said + "more than chance would explain."
