"""Which lines belong to which box."""

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.exposure import Indices

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Grouping:
    """Which lines belong to which box: `box` (lines,) ascending, and the pairs of lines within a box."""

    box: Indices
    starts: Indices
    n_boxes: int
    pair_first: Indices
    pair_second: Indices

    @classmethod
    def of(cls, box: Indices) -> "Grouping":
        """Group lines whose box numbers ascend without gaps."""
        n_boxes = int(box[-1]) + 1 if len(box) else 0
        starts = np.searchsorted(box, np.arange(n_boxes))
        sizes = np.diff(np.append(starts, len(box)))
        own = sizes[box]
        first = np.repeat(np.arange(len(box)), own)
        offset = np.arange(len(first)) - np.repeat(np.cumsum(own) - own, own)
        return cls(box, starts, n_boxes, first, starts[box[first]] + offset)

    def tiled(self, n: int) -> "Grouping":
        """Return the grouping of n copies of the lines, each with boxes of its own."""
        return Grouping.of((self.box[None, :] + self.n_boxes * np.arange(n)[:, None]).ravel())

    def mean(self, by_line: Array) -> Array:
        """Average lines by box, (boxes,)."""
        means: Array = self.sum(by_line) / np.bincount(self.box, minlength=self.n_boxes)
        return means

    def sum(self, by_line: Array) -> Array:
        """Add lines up by box along the last axis."""
        total: Array = np.add.reduceat(by_line, self.starts, axis=-1)
        return total

    def pieces(self, n_lines: int) -> "list[Piece]":
        """Return runs of whole boxes, each of about so many lines, which then fit the processor's cache."""
        cuts = np.unique(np.append(np.searchsorted(self.starts, np.arange(0, len(self.box), n_lines)), self.n_boxes))
        pieces = []
        for first, last in pairwise(cuts.tolist()):
            start = int(self.starts[first])
            end = int(self.starts[last]) if last < self.n_boxes else len(self.box)
            own = Grouping.of(self.box[start:end] - first)
            pieces.append(Piece(slice(first, last), slice(start, end), own))
        return pieces


class Piece(NamedTuple):
    """A run of boxes and their lines."""

    boxes: slice
    lines: slice
    grouping: Grouping
