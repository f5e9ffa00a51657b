"""What arrived boxes showed, as columns: counts, levels of every effect, and exposure as a function of the clock.

One row a line of a box. Rows that only say healthy / not, or alive / dead, are used as they are.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from model.exposure import Array, ExposureTable, Indices
from model.plant import Level


@dataclass(frozen=True, eq=False)
class Observations:
    """Arrived boxes, one row a line.

    Attributes
    ----------
    box : (lines,)
        Index of the box, 0 to n_boxes - 1; every box has a line.
    healthy, damaged, dead : (lines,)
        Counts, or weighted counts. Where only healthy / not is known, `damaged` and `dead` are NaN; where only
        alive / dead is known, `healthy` and `damaged` are.
    sent : (lines,)
    levels : mapping of kind to tuple of names
        For the kinds of `KINDS`; a drift level is a pair (seller, quarter). And consignments of several boxes.
    codes : mapping of kind to (lines,) integers
        Index into the kind's levels; -1: the reference level, which has no effect.
    log_time_ratio : (lines,)
        log TR0.
    exposure : ExposureTable
    unnamed_seller, unknown_genus : (lines,) of bool
        Lines whose seller, or genus, is a draw from its population: its variance counts with that of the box, or of the
        line.
    """

    box: Indices
    healthy: Array
    damaged: Array
    dead: Array
    sent: Array
    levels: Mapping[str, tuple[Level, ...]]
    codes: Mapping[str, Indices]
    log_time_ratio: Array
    exposure: ExposureTable
    unnamed_seller: NDArray[np.bool_]
    unknown_genus: NDArray[np.bool_]

    @cached_property
    def n_boxes(self) -> int:
        """Number of boxes."""
        return int(self.box.max()) + 1 if len(self.box) else 0

    def __len__(self) -> int:
        return len(self.box)

    def _numbers(self, boxes: Indices) -> Indices:
        """Return the new number of each box, -1 for those that are not taken."""
        new = np.full(self.n_boxes, -1, dtype=np.intp)
        new[boxes] = np.arange(len(boxes))
        return new

    def rows_of(self, boxes: Indices) -> Indices:
        """Return the rows of some boxes, boxes in the order given."""
        new = self._numbers(boxes)[self.box]
        rows = np.flatnonzero(new >= 0)
        ordered: Indices = rows[np.argsort(new[rows], kind="stable")]
        return ordered

    def without_unused_levels(self) -> "Observations":
        """Return the same boxes without the levels that none of them has."""
        levels, codes = {}, {}
        for kind, own in self.codes.items():
            used = np.unique(own[own >= 0])
            levels[kind] = tuple(self.levels[kind][code] for code in used)
            codes[kind] = np.where(own >= 0, np.searchsorted(used, own), -1)
        return replace(self, levels=levels, codes=codes)

    def take_boxes(self, boxes: Indices) -> "Observations":
        """Return some boxes, renumbered in the order given; levels stay as they are."""
        new, rows = self._numbers(boxes), self.rows_of(boxes)
        return Observations(
            box=new[self.box[rows]],
            healthy=self.healthy[rows],
            damaged=self.damaged[rows],
            dead=self.dead[rows],
            sent=self.sent[rows],
            levels=self.levels,
            codes={kind: codes[rows] for kind, codes in self.codes.items()},
            log_time_ratio=self.log_time_ratio[rows],
            exposure=self.exposure.take(rows),
            unnamed_seller=self.unnamed_seller[rows],
            unknown_genus=self.unknown_genus[rows],
        )
