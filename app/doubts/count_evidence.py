"""What the counts of boxes say under each hypothesis, given the other boxes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.doubts.variants import Variants
from model.fit import RATES, LeftOut, Lines, box_log_likelihoods, leave_one_out, log_lost_whole, observe
from model.predict import PosteriorDraws
from model.screening import log_uniform_counts

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

# Draws that weigh boxes. The cost is linear in them; so many tell chances of a slip to a few hundredths.
SCREENING_DRAWS = 512
HEALTHY, DAMAGED, DEAD, SENT = range(4)


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
    lost : (boxes,)
        Chance that the box was lost for reasons that no clock knows, given its own counts too.
    """

    draws: PosteriorDraws
    left_out: LeftOut
    box: Array
    line: Array
    lost: Array

    @classmethod
    def of(cls, recorded: Variants, draws: PosteriorDraws, seen: NDArray[np.bool_]) -> "CountEvidence":
        """Return the evidence of boxes as recorded; `seen` (boxes,): which of them the draws were fitted to."""
        some = draws.take(np.arange(min(SCREENING_DRAWS, draws.n_draws)))
        lines, counts, own = recorded.table.lines, recorded.table.counts, recorded.table.shipment
        reference = draws.reference
        observed = observe(lines, counts, reference)
        log_p = box_log_likelihoods(observed, some, for_weights=True)
        # The fit let the records be wrong, so that is what a box is left out of.
        log_fitted = box_log_likelihoods(observed, some, wrong=RATES, for_weights=True)
        left_out = leave_one_out(log_fitted, seen)
        apart = lines.copy()
        apart["shipment"] = [f"{row:09d}" for row in range(len(lines))]
        by_line = box_log_likelihoods(observe(apart, counts, reference), some, for_weights=True)
        log_lost = np.log((1.0 - RATES.box) * some.parameters.lost)[:, None] + log_lost_whole(observed)
        log_share = left_out.log_mean(log_lost) - left_out.log_mean(log_fitted)
        return cls(some, left_out, left_out.log_mean(log_p), left_out.of(own).log_mean(by_line), np.exp(log_share))

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
        log_p = box_log_likelihoods(observe(lines, counts, self.draws.reference), self.draws, for_weights=True)
        return self.left_out.of(box).log_mean(log_p)


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
