"""What the counts of boxes say under each hypothesis, given the other boxes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from app.doubts.variants import Variants
from model.fit import LeftOut, Lines, box_log_likelihoods, leave_one_out, observe
from model.predict import PosteriorDraws
from model.reference import CONSTANTS
from model.screening import log_uniform_counts

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

# Draws that weigh boxes. The cost is linear in them; so many tell chances of a slip to a few hundredths.
SCREENING_DRAWS = 512
HEALTHY, DAMAGED, DEAD, SENT = range(4)
# A box lost whole: hardly a plant is healthy, nearly all are dead.
LOST_SHARES = np.array([0.005, 0.025, 0.97])


@dataclass(frozen=True, slots=True, eq=False)
class CountEvidence:
    """Log predictive probabilities of counts, of each box and line as recorded, by the draws of the other boxes.

    Attributes
    ----------
    draws : PosteriorDraws
    left_out : LeftOut
        Weights of the draws for each box.
    box : (boxes,)
        Of all lines of a box together.
    line : (lines,)
        Of a line by itself.
    """

    draws: PosteriorDraws
    left_out: LeftOut
    box: Array
    line: Array

    @classmethod
    def of(cls, recorded: Variants, draws: PosteriorDraws, seen: NDArray[np.bool_]) -> "CountEvidence":
        """Return the evidence of boxes as recorded; `seen` (boxes,): which of them the draws were fitted to."""
        some = draws.take(np.arange(min(SCREENING_DRAWS, draws.n_draws)))
        lines, counts, own = recorded.table.lines, recorded.table.counts, recorded.table.shipment
        reference = draws.reference
        log_p = box_log_likelihoods(observe(lines, counts, reference), some)
        left_out = leave_one_out(log_p, seen)
        apart = lines.copy()
        apart["shipment"] = [f"{row:09d}" for row in range(len(lines))]
        by_line = box_log_likelihoods(observe(apart, counts, reference), some)
        box = with_lost(left_out.log_mean(log_p), counts, own)
        line = with_lost(left_out.of(own).log_mean(by_line), counts, np.arange(len(own)))
        return cls(some, left_out, box, line)

    def log_predictive(self, lines: Lines, counts: Array, variant: Indices, box: Indices) -> Array:
        """Return the log predictive probability of variants of boxes, (variants,).

        Parameters
        ----------
        lines : (rows,)
            Their `shipment` is not looked at.
        counts : (rows, 4)
        variant : (rows,)
            Ascending, from 0, none left out.
        box : (variants,)
            Whose weights count.
        """
        lines = lines.copy()
        lines["shipment"] = [f"{own:09d}" for own in variant]
        log_p = box_log_likelihoods(observe(lines, counts, self.draws.reference), self.draws)
        return with_lost(self.left_out.of(box).log_mean(log_p), counts, variant)


def with_lost(log_p: Array, counts: Array, box: Indices) -> Array:
    """Return log probabilities of boxes, (boxes,), each of which may have been lost whole.

    Parameters
    ----------
    log_p : (boxes,)
    counts : (rows, 4)
    box : (rows,)
    """
    lost = np.zeros(len(log_p))
    for row, own in zip(counts, box, strict=True):
        cells, shares = told(row), LOST_SHARES
        if len(cells) == 2:  # noqa: PLR2004 - healthy or not, dead or not
            first = shares[HEALTHY] if not np.isnan(row[HEALTHY]) else 1.0 - shares[DEAD]
            shares = np.array([first, 1.0 - first])
        lost[own] += special.gammaln(cells.sum() + 1.0) - special.gammaln(cells + 1.0).sum() + cells @ np.log(shares)
    share = CONSTANTS.screened_lost_share
    total: Array = np.logaddexp(np.log1p(-share) + log_p, np.log(share) + lost)
    return total


def told(row: Array) -> Array:
    """Return the counts that a row of healthy, damaged, dead and sent tells apart, (2,) or (3,)."""
    if not np.isnan(row[:SENT]).any():
        return row[:SENT]
    if np.isnan(row[HEALTHY]):
        return np.array([row[SENT] - row[DEAD], row[DEAD]])
    return np.array([row[HEALTHY], row[SENT] - row[HEALTHY]])


def log_any(counts: Array) -> float:
    """Return the log chance of the counts of a box, (rows, 4), if they may be anything."""
    cells = [told(row) for row in counts]
    total = 0.0
    for states in (2, 3):
        alike = [own for own in cells if len(own) == states]
        if alike:
            total += log_uniform_counts(np.stack(alike))
    return total


def swapped(counts: Array) -> Array:
    """Return rows, (rows, 4), with healthy and dead the other way round; a count alone goes into the other column."""
    return counts[:, [DEAD, DAMAGED, HEALTHY, SENT]]
