"""A batch and its routes, ready to be simulated."""

from dataclasses import dataclass

from app.batch.lanes import Lane
from model.exposure import DEFAULT_WAIT_H, Box
from model.plant import Plant
from model.transit import TransitTime


@dataclass(frozen=True, slots=True)
class BatchLine:
    """A line of the batch."""

    plant: Plant
    quantity: int


@dataclass(frozen=True, slots=True, eq=False)
class RoutePlan:
    """A route ready to be simulated.

    Attributes
    ----------
    lane : Lane
    transit : TransitTime
        Total time in transit, delays included.
    box : Box
    n_boxes : int
    apart : bool
        Whether each box has a journey and a box effect of its own.
    papers_days : float
        Median of the clearance delay for missing papers.
    quarter : int or None
        Of the seller's effect; None for its latest with boxes.
    wait_h : float
        From closing the box to its pick-up.
    """

    lane: Lane
    transit: TransitTime
    box: Box
    n_boxes: int
    apart: bool
    papers_days: float
    quarter: int | None = None
    wait_h: float = DEFAULT_WAIT_H

    @property
    def n_fates(self) -> int:
        """Journeys and box effects: one for boxes together, one each apart."""
        return self.n_boxes if self.apart else 1
