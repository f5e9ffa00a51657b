"""Times in transit that a fit has learned, by service and lane: what the artefact holds of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from model.transit import TransitQuantiles


class LaneKey(NamedTuple):
    """A service between two places; origin and destination are empty for a lane without own boxes."""

    service: str
    origin: str
    destination: str


@dataclass(frozen=True, slots=True)
class LaneTimes:
    """What is learned of a lane: total days of the next box, its chance of a delay, and from how many boxes.

    For a lane without own boxes (see `LaneKey`) the quantiles are those of a long one, and the boxes all of the
    service's. `n_left_out` arrived too, but their times look wrong and taught nothing. Delays are `delay_size` times as
    long as the table's; of boxes that missed a flight `again_share` miss the next one too, 0 where none are missed.
    """

    key: LaneKey
    quantiles: TransitQuantiles
    delay_share: float
    n_arrived: int
    n_on_the_way: int
    n_left_out: int = 0
    delay_size: float = 1.0
    again_share: float = 0.0

    @property
    def from_boxes(self) -> str:
        """The boxes behind it in words."""
        arrived = "1 own box" if self.n_arrived == 1 else f"{self.n_arrived:,} own boxes"
        found = f"{arrived} and {self.n_on_the_way:,} on the way" if self.n_on_the_way else arrived
        return f"{found} ({left_out_words(self.n_left_out)})" if self.n_left_out else found


def left_out_words(n: int) -> str:
    """Return that so many more boxes are left out."""
    return "1 more left out: its times look wrong" if n == 1 else f"{n:,} more left out: their times look wrong"


@dataclass(frozen=True, slots=True)
class LearnedTimes:
    """Every lane with boxes, and for each of their services a lane without."""

    lanes: Sequence[LaneTimes] = ()

    def of(self, service: str, origin: str, destination: str) -> LaneTimes | None:
        """Return what is learned of a lane, else of its service, else None."""
        wanted = (LaneKey(service, origin, destination), LaneKey(service, "", ""))
        known = {lane.key: lane for lane in self.lanes if lane.key in wanted}
        return known.get(wanted[0]) or known.get(wanted[1])
