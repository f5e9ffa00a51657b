"""Importers with a training set and 20 boxes that come after it: covariates fixed, truths drawn from the prior."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.fit.lines import Lines, observe
from model.fit.observations import Observations
from model.reference.tables import Reference
from model.synthetic import counts_of, draw_design

Array = NDArray[np.float64]

N_NEW_BOXES = 20
# The quarter after the last of the two years in which `draw_design` sends boxes.
NEXT_QUARTER = 8


@dataclass(frozen=True, eq=False)
class Importer:
    """What one importer sends: lines of all boxes, which of them are known, days and temperature, (lines,) each."""

    lines: Lines
    observations: Observations
    known: NDArray[np.bool_]
    days: Array
    inside_c: Array

    @property
    def known_lines(self) -> Lines:
        """Lines with counts that a fit may see."""
        return self.lines[self.known]

    @property
    def new_lines(self) -> Lines:
        """Lines of boxes not yet seen."""
        return self.lines[~self.known]

    def split(self, observed: Observations) -> tuple[Array, Array]:
        """Return healthy, damaged, dead and sent of the known lines and of the new ones, (lines, 4) each."""
        counts = counts_of(observed)
        return counts[self.known], counts[~self.known]


def draw_importer(
    reference: Reference, n_boxes: int, *, rng: np.random.Generator, new_quarter: int | None = None
) -> Importer:
    """Draw what is sent in `n_boxes` known boxes and `N_NEW_BOXES` new ones, these in `new_quarter` if given."""
    design = draw_design(reference, n_boxes + N_NEW_BOXES, rng=rng)
    known = design.observations.box < n_boxes
    lines, observations = design.lines, design.observations
    if new_quarter is not None:
        lines = lines.copy()
        lines["quarter"][~known] = new_quarter
        counts = np.full((len(lines), 4), np.nan)
        counts[:, 3] = observations.sent
        observations, order, _ = observe(lines, counts, reference)
        assert (order == np.arange(len(lines))).all()
    return Importer(lines, observations, known, design.days, design.inside_c)
