"""Whether chances and ranges mean what they say, over many boxes.

Boxes are taken as independent, plants in one box are not: what befalls a box befalls all of it. So ranges are counted
box by box, and the interval of an observed share is as wide as the spread between boxes makes it (Korn & Graubard 1998,
"Confidence Intervals for Proportions With Small Expected Number of Positive Counts Estimated From Survey Data").
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, stdtrit

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

# Interval of an observed share.
SHARE_LEVEL = 0.8


class CountRange(NamedTuple):
    """A range of whole numbers, ends included, and the chance that the forecast gave it."""

    low: int
    high: int
    chance: float


def central_range(values: Counts, weights: Counts, level: float) -> CountRange:
    """Return the central range of a forecast of a count: whole numbers, so its chance is at least `level`.

    Parameters
    ----------
    values, weights : (n,)
        Counts, ascending, and how often each was drawn.
    level : float
        In (0, 1).
    """
    below = np.cumsum(weights) / np.sum(weights)
    tail = (1.0 - level) / 2.0
    # The shares are fractions of whole numbers: a rounding error must not move an end.
    first = int(np.searchsorted(below, tail - 1e-12))
    last = int(np.searchsorted(below, 1.0 - tail - 1e-12))
    chance = float(below[last] - (below[first - 1] if first else 0.0))
    return CountRange(int(values[first]), int(values[last]), chance)


class Coverage(NamedTuple):
    """How often ranges held what was found.

    `expected` is the sum of each range's own chance. `chance_fewer` and `chance_more` are those of holding at most and
    at least as many as `held` if every range has its own chance.
    """

    n: int
    held: int
    expected: float
    below: int
    above: int
    chance_fewer: float
    chance_more: float


def coverage(low: Array, high: Array, chance: Array, found: Array) -> Coverage:
    """Return how often ranges, ends included, held what was found; all (n,)."""
    below, above = int((found < low).sum()), int((found > high).sum())
    held = len(found) - below - above
    distribution = successes(chance)
    return Coverage(
        n=len(found),
        held=held,
        expected=float(chance.sum()),
        below=below,
        above=above,
        chance_fewer=min(1.0, float(distribution[: held + 1].sum())),
        chance_more=min(1.0, float(distribution[held:].sum())),
    )


def successes(chances: Array) -> Array:
    """Return the exact distribution of the number of successes of independent trials, (n + 1,), each with its chance.

    It is the Poisson binomial distribution, the binomial where all chances are equal.
    """
    parts = [np.array([1.0 - p, p]) for p in chances] or [np.ones(1)]
    while len(parts) > 1:
        pairs = zip(parts[::2], parts[1::2], strict=False)
        parts = [np.convolve(a, b) for a, b in pairs] + parts[len(parts) - len(parts) % 2 :]
    return parts[0]


class Share(NamedTuple):
    """An observed share with its interval."""

    mean: float
    low: float
    high: float


def clustered_share(found: Counts, of: Counts) -> Share:
    """Return the share of plants over boxes, (boxes,) each, with an 80 % interval that counts boxes, not plants.

    The variance of the share between boxes over that of independent plants is the design effect, at least 1. Plants
    over design effect are the plants that count; with a Student factor for few boxes they give Jeffreys' interval
    (Brown, Cai & DasGupta 2001, "Interval Estimation for a Binomial Proportion"). Where boxes show no spread, be it
    that there is one box or that all or none of their plants are counted, each box counts as one plant.
    """
    boxes, plants = len(of), float(of.sum())
    share = float(found.sum()) / plants
    rest = found - share * of
    between = boxes / (boxes - 1) * float(rest @ rest) / plants**2 if boxes > 1 else 0.0
    if between > 0.0:
        effective = min(plants, share * (1.0 - share) / between)
        tail = (1.0 + SHARE_LEVEL) / 2.0
        effective *= float((stdtrit(plants - 1.0, tail) / stdtrit(boxes - 1.0, tail)) ** 2)
    else:
        effective = float(boxes)
    hits = share * effective
    tails = ((1.0 - SHARE_LEVEL) / 2.0, (1.0 + SHARE_LEVEL) / 2.0)
    low, high = (float(betaincinv(hits + 0.5, effective - hits + 0.5, tail)) for tail in tails)
    return Share(share, 0.0 if hits <= 0.0 else low, 1.0 if hits >= effective else high)


@dataclass(frozen=True, slots=True)
class ReliabilityBin:
    """Plants whose forecast chance lies between two numbers, and what became of them."""

    low: float
    high: float
    boxes: int
    plants: int
    forecast: float
    observed: Share


def reliability(chance: Array, found: Counts, of: Counts, box: Counts, edges: Array) -> list[ReliabilityBin]:
    """Return the plants of lines by the chance that was given to them; bins without plants are left out.

    Parameters
    ----------
    chance : (lines,)
    found, of : (lines,)
        Plants for which it came true, and all that were counted.
    box : (lines,)
        Number of the line's box.
    edges : (bins + 1,)
        Ascending from 0 to 1; a chance on an edge belongs to the bin above, 1 to the last.
    """
    place = np.clip(np.searchsorted(edges, chance, side="right") - 1, 0, len(edges) - 2)
    bins = []
    for i in range(len(edges) - 1):
        here = (place == i) & (of > 0)
        if not here.any():
            continue
        boxes, of_box = np.unique(box[here], return_inverse=True)
        sums = [np.bincount(of_box, weights=counts[here], minlength=len(boxes)) for counts in (found, of)]
        bins.append(
            ReliabilityBin(
                low=float(edges[i]),
                high=float(edges[i + 1]),
                boxes=len(boxes),
                plants=int(of[here].sum()),
                forecast=float(np.average(chance[here], weights=of[here])),
                observed=clustered_share(*(total.astype(np.int64) for total in sums)),
            )
        )
    return bins


def pit_histogram(below: Array, up_to: Array, n_bins: int) -> Array:
    """Return the non-randomised histogram of probability integral transforms of counts, (n_bins,), adding to 1.

    Flat where forecasts are calibrated, hollow where they are too wide, heaped at both ends where they are too narrow
    (Czado, Gneiting & Held 2009, "Predictive Model Assessment for Count Data").

    Parameters
    ----------
    below, up_to : (boxes,)
        Chances that the forecasts gave to fewer than was found, and to no more than was found.
    n_bins : int
    """
    edges = np.linspace(0.0, 1.0, n_bins + 1)[:, None]
    width = np.maximum(up_to - below, 0.0)
    # A count that was never drawn has no width: its transform is the step at where it would be.
    spread = np.clip((edges - below) / np.where(width > 0.0, width, 1.0), 0.0, 1.0)
    levels = np.where(width > 0.0, spread, edges > np.minimum(below, 1.0 - 1e-12))
    histogram: Array = np.diff(levels.mean(axis=1))
    return histogram


class PairedMean(NamedTuple):
    """A mean difference over boxes with its 80 % interval; no interval for a single box."""

    mean: float
    low: float | None
    high: float | None


def paired_mean(differences: Array) -> PairedMean:
    """Return the mean of differences, (boxes,), with Student's interval."""
    n, mean = len(differences), float(differences.mean())
    if n == 1:
        return PairedMean(mean, None, None)
    half = float(stdtrit(n - 1.0, (1.0 + SHARE_LEVEL) / 2.0)) * float(differences.std(ddof=1)) / float(np.sqrt(n))
    return PairedMean(mean, mean - half, mean + half)
