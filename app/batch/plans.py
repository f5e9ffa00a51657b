"""A batch and its routes, ready to be simulated."""

from dataclasses import dataclass
from datetime import datetime

from app.batch.journey import Itinerary
from app.batch.lanes import Lane
from app.batch.working_days import LaneCalendar
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
    calendar : LaneCalendar
        The days on which the service works.
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
    calendar: LaneCalendar
    quarter: int | None = None
    wait_h: float = DEFAULT_WAIT_H

    def itinerary(self, closed_at: datetime, layover_days: float) -> Itinerary:
        """Return how its boxes go from the moment they are closed."""
        return Itinerary(
            lane=self.lane,
            calendar=self.calendar,
            transit=self.transit,
            closed_at=closed_at,
            layover_days=layover_days,
            papers_days=self.papers_days,
            wait_h=self.wait_h,
        )

    @property
    def n_fates(self) -> int:
        """Journeys and box effects: one for boxes together, one each apart."""
        return self.n_boxes if self.apart else 1
