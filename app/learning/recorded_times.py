"""Recorded boxes -> times in transit learned by service and lane."""

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from app.batch import (
    KnownLanes,
    Lane,
    delay_of,
    most_waited,
    not_before,
    origin_layover,
    table_quantiles,
)
from app.records import LONGEST_DAYS, SECONDS_A_DAY, SHORTEST_DAYS, known_transit_days
from app.serving import LaneKey, LaneTimes, LearnedTimes
from app.store import ShipmentColumns
from model.reference import Reference, Service
from model.transit import (
    MOST_MINIMUM_SHARE,
    TransitQuantiles,
    TransitRecord,
    TransitTime,
    learn_transit,
    solve_transit,
)

# Dates without times: a difference of dates is off by up to a day, less likely the further.
DATES_ROUNDING_DAYS = 1.0
# Between times: less than this tells nothing more on a grid that is 5 % of the days wide.
TIMES_HALF_WIDTH_DAYS = 0.25
IN_TRANSIT = "in_transit"


@dataclass(slots=True)
class _Boxes:
    """Boxes of a service: days, whether they arrived, and the index of their lane."""

    days: list[float] = field(default_factory=list)
    half_width_days: list[float] = field(default_factory=list)
    rounding_days: list[float] = field(default_factory=list)
    arrived: list[bool] = field(default_factory=list)
    lane: list[int] = field(default_factory=list)
    lanes: dict[LaneKey, Lane] = field(default_factory=dict)
    index: dict[LaneKey, int] = field(default_factory=dict)


class RecordedTimes:
    """The times in transit of all boxes, by service: layover taken off, and what a box waited for a worked day unknown.

    Boxes on their way count with the days gone by. A lost box says nothing of how long boxes take that arrive: it has
    no time in transit, and how late it was when it was given up is no measure of one. It is left out, and so is a box
    that nobody closed: one on its way for longer than any arrival is recorded. An arrived box whose times are
    `doubted`, by its number, teaches nothing until its record is confirmed or corrected: a delivery on the day of the
    departure would make a courier faster than any is.
    """

    def __init__(
        self,
        arrived: ShipmentColumns,
        on_the_way: ShipmentColumns,
        reference: Reference,
        *,
        now: datetime,
        doubted: Collection[int] = (),
    ) -> None:
        self._reference, self._now, self._doubted = reference, now, frozenset(doubted)
        self._left_out: Counter[LaneKey] = Counter()
        self._services: dict[str, _Boxes] = {}
        self._lanes = KnownLanes(reference)
        self._delayed: list[bool] = []
        self._add(arrived)
        self._add(on_the_way)

    @property
    def n_arrived(self) -> int:
        """Boxes that arrived and are learned from."""
        return sum(sum(boxes.arrived) for boxes in self._services.values())

    @property
    def n_on_the_way(self) -> int:
        """Boxes on their way."""
        return sum(len(boxes.arrived) for boxes in self._services.values()) - self.n_arrived

    @property
    def n_left_out(self) -> int:
        """Boxes that arrived and are not learned from, since their times look wrong."""
        return self._left_out.total()

    def days(self, service: str) -> list[float]:
        """Return the days of the boxes of a service, in order of creation, those on their way last."""
        boxes = self._services.get(service)
        return list(boxes.days) if boxes else []

    @property
    def delayed(self) -> NDArray[np.bool_]:
        """Whether each arrived box took longer than the table's p90 of its service on its lane, (arrived,)."""
        return np.array(self._delayed, dtype=bool)

    def parts(self) -> Iterable[bytes]:
        """Yield everything that learning reads, for a digest."""
        for service, boxes in sorted(self._services.items()):
            yield repr(
                (
                    service,
                    boxes.days,
                    boxes.half_width_days,
                    boxes.rounding_days,
                    boxes.arrived,
                    boxes.lane,
                    list(boxes.lanes),
                )
            ).encode()

    def learn(self) -> LearnedTimes:
        """Return what the boxes say of every lane with boxes, and of a lane without."""
        return LearnedTimes(
            tuple(lane for service, boxes in sorted(self._services.items()) for lane in self._learn(service, boxes))
        )

    def _learn(self, service: str, boxes: _Boxes) -> list[LaneTimes]:
        arrived, lane = np.array(boxes.arrived), np.array(boxes.lane, dtype=np.intp)
        days = np.array(boxes.days)
        record = TransitRecord(days, np.array(boxes.half_width_days), arrived, lane, np.array(boxes.rounding_days))
        scales = np.array([own.length_share() for own in boxes.lanes.values()])
        row = self._reference.services[service]
        learned = learn_transit(_table(row), record, scales)

        def times(key: LaneKey, quantiles: NDArray[np.float64], own: NDArray[np.bool_]) -> LaneTimes:
            n = int((own & arrived).sum())
            share = boxes.lanes[key].length_share() if key.origin else 1.0
            # What is solved from a p10 may begin at this share of it: so no box is faster than the table's fastest.
            least = row.min_days * share / MOST_MINIMUM_SHARE
            found = TransitQuantiles(*np.maximum(quantiles, least).tolist())
            doubted = [m for lane, m in self._left_out.items() if key in (lane, LaneKey(lane.service, "", ""))]
            return LaneTimes(
                key,
                found,
                learned.delay_share,
                n,
                int(own.sum()) - n,
                sum(doubted),
                learned.delay_size,
                learned.again_share,
            )

        everywhere = times(LaneKey(service, "", ""), learned.quantiles, np.ones(len(days), dtype=bool))
        return [
            everywhere,
            *(times(key, learned.lane_quantiles[i], lane == i) for i, key in enumerate(boxes.lanes)),
        ]

    def _add(self, shipments: ShipmentColumns) -> None:
        columns = (shipments.service, shipments.origin, shipments.destination)
        for i, state in enumerate(shipments.state.codes):
            on_the_way = shipments.state.levels[state] == IN_TRANSIT
            if not on_the_way and np.isnat(shipments.arrival_date[i]):
                continue  # lost
            service, origin, destination = (column.levels[column.codes[i]] for column in columns)
            lane, calendar = self._lanes.of(origin, destination, service)
            key = LaneKey(service, lane.places["origin"].iata, lane.places["destination"].iata)
            ship_date: date = shipments.ship_date[i].astype(object)
            departed_at, opened_at = shipments.moments(i)
            closed_at = departed_at or lane.closing(ship_date)
            layover = origin_layover(lane, calendar, ship_date)
            if on_the_way:
                days = (self._now - closed_at).total_seconds() / SECONDS_A_DAY
                if days > LONGEST_DAYS:
                    continue
                waited = days - not_before(lane, calendar, closed_at, days)
                days, half_width = days - waited - layover, 0.0
            else:
                zones = (lane.places["origin"].time_zone, lane.places["destination"].time_zone)
                arrival_date: date = shipments.arrival_date[i].astype(object)
                days = known_transit_days(ship_date, arrival_date, departed_at, opened_at, zones)
                waited = most_waited(lane, calendar, closed_at, days)
                # It came at the latest when it was opened, at the earliest when the days that nobody worked began.
                half_width = 0.5 * waited
                self._delayed.append(days - layover > lane.usual_quantiles().p90)
                if int(shipments.number[i]) in self._doubted:
                    self._left_out[key] += 1
                    continue
                days -= layover + half_width
            boxes = self._services.setdefault(service, _Boxes())
            boxes.days.append(max(days, 0.0 if on_the_way else SHORTEST_DAYS))
            timed = departed_at is not None and opened_at is not None
            boxes.half_width_days.append(half_width + (TIMES_HALF_WIDTH_DAYS if timed else 0.0))
            boxes.rounding_days.append(0.0 if timed else DATES_ROUNDING_DAYS)
            boxes.arrived.append(not on_the_way)
            boxes.lanes.setdefault(key, lane)
            boxes.lane.append(boxes.index.setdefault(key, len(boxes.index)))


def _table(row: Service) -> TransitTime:
    return solve_transit(table_quantiles(row), delay_of(row), row.min_days).transit
