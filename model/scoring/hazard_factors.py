"""The hazards of the plants of a box as a common factor and what each genus and line has of its own.

A forecast has thousands of draws in which every genus has an effect of its own. The chance of the counts of many lines
at once is not to be had from so many draws: hardly one is near the counts in all lines, and the average hangs on that
one. So what is common to the lines stays as draws, and what is not becomes normal about it and is integrated by
quadrature. What is lost is the shape of the genus effects (normal here) and of how far lines differ in the same weather
(linear in the common factor).
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from model.plant import cumulative_hazards

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

# Far beyond any hope, and far from where exp is no number.
MOST_LOG_HAZARD = 200.0


@dataclass(frozen=True, slots=True, eq=False)
class HazardFactors:
    """What forecasts said of the plants of some boxes.

    In a draw, with u of each genus, v of each line and w of each line all standard normal,

        eta = intercept + slope * common + genus_sd u + own_sd v + line_sd w

    is the log hazard on the clock, and H_loss and H_death are those of `model.plant.hazard` with d0 = death_offset.
    With chance `lost` a box is lost whole instead, and each of its plants has the same chances.

    Attributes
    ----------
    common, log_h0, log_delta, line_sd : (boxes, draws)
    death_offset : (boxes,)
    lost, lost_healthy, lost_dead : (boxes,)
        Chance that a box is lost whole, and that a plant in such a box is healthy, or dead.
    box : (lines,) of int
    genus : (lines,) of int
        Lines with the same number, all of one box, share u.
    intercept, slope, genus_sd, own_sd : (lines,)
    """

    common: Array
    log_h0: Array
    log_delta: Array
    line_sd: Array
    death_offset: Array
    lost: Array
    lost_healthy: Array
    lost_dead: Array
    box: Counts
    genus: Counts
    intercept: Array
    slope: Array
    genus_sd: Array
    own_sd: Array

    def hazards(self, lines: Counts, u: Array, v: Array) -> tuple[Array, Array]:
        """Return H_loss and H_death of some lines; u and v broadcast to (..., lines, draws), v for v and w together."""
        box = self.box[lines]
        spread = np.hypot(self.own_sd[lines, None], self.line_sd[box])
        eta = self.intercept[lines, None] + self.slope[lines, None] * self.common[box]
        hazard = np.exp(np.minimum(eta + self.genus_sd[lines, None] * u + spread * v, MOST_LOG_HAZARD))
        delta, h0, dead_share = np.exp(self.log_delta)[box], np.exp(self.log_h0)[box], np.exp(-self.death_offset)[box]
        return cumulative_hazards(hazard, delta, h0, dead_share[:, None])


def join_boxes(parts: Sequence[HazardFactors]) -> HazardFactors:
    """Return the factors of several boxes as one, boxes in the order given; all need the same number of draws."""
    boxes = np.cumsum([0, *(len(part.common) for part in parts)])
    genera = np.cumsum([0, *(part.genus.max() + 1 for part in parts)])
    together = {
        field.name: np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(HazardFactors)
    }
    n_lines = [len(part.box) for part in parts]
    together["box"] = together["box"] + np.repeat(boxes[:-1], n_lines)
    together["genus"] = together["genus"] + np.repeat(genera[:-1], n_lines)
    return HazardFactors(**together)


def split_hazards(eta: Array, common: Array, genus: Counts) -> tuple[Array, Array, Array, Array]:
    """Return intercept, slope, genus_sd and own_sd of each line, (lines,) each, by least squares over the draws.

    Parameters
    ----------
    eta : (lines, draws)
        Log hazards without line effects.
    common : (draws,)
        What is common to the lines.
    genus : (lines,)
        Lines of one genus have the same number. What two of them have in common beside `common` is the genus's.
    """
    about = common - common.mean()
    spread = float(about @ about)
    slope = eta @ about / spread if spread > 0.0 else np.zeros(len(eta))
    intercept = eta.mean(axis=1) - slope * common.mean()
    rest = eta - intercept[:, None] - slope[:, None] * common
    variance = (rest**2).mean(axis=1)
    of_genus = np.zeros(len(eta))
    for one in np.unique(genus):
        (members,) = np.nonzero(genus == one)
        if (n := len(members)) > 1:
            pairs = ((rest[members].sum(axis=0) ** 2).mean() - variance[members].sum()) / (n * (n - 1))
            of_genus[members] = np.clip(pairs, 0.0, variance[members].min())
    return intercept, slope, np.sqrt(of_genus), np.sqrt(variance - of_genus)
