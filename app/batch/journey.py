"""When each leg of a journey ends: time in transit, delays in their leg, layover, papers, and days nobody works.

Forecasts draw all of these; of a recorded box only the total is known, and the same journeys are conditioned on it.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from app.batch.lanes import Lane
from app.batch.working_days import LaneCalendar, WorkingDays
from app.serving import LearnedTimes
from model.exposure import DEFAULT_WAIT_H, leg_ends
from model.reference import CONSTANTS
from model.transit import TransitTime, chosen, spent_days

Array = NDArray[np.float64]

CLEARANCE_LEG = "clearance"
ORIGIN_LEG = "origin_shed"
HUB_LEG = "hub"
# A wait for papers is log-normal about its median with this sd.
PAPERS_SD_LOG = CONSTANTS.papers_sd_log
# Equally likely waits for papers over which a recorded total is taken apart.
PAPERS_NODES = 16
# A journey has a recorded total if it is off by no more than rounding.
SAME_DAYS = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Itinerary:
    """How a box goes from a moment on: `layover_days` at the origin, `papers_days` the median wait for papers."""

    lane: Lane
    calendar: LaneCalendar
    transit: TransitTime
    closed_at: datetime
    layover_days: float = 0.0
    papers_days: float = 0.0
    wait_h: float = DEFAULT_WAIT_H

    @classmethod
    def usual(
        cls, lane: Lane, calendar: LaneCalendar, learned: LearnedTimes, closed_at: datetime, ship_date: date
    ) -> "Itinerary":
        """Return how a box goes of which nothing was planned: by own times where there are any, else the table's."""
        usual = lane.usual(learned)
        transit = lane.solve(usual.quantiles, usual.delay).transit
        return cls(lane, calendar, transit, closed_at, origin_layover(lane, calendar, ship_date))

    def ends_h(self, body: Array, delay: Array, papers: Array) -> Array:
        """Return the hour at which each leg ends, (legs, journeys), from days of what was drawn, (journeys,) each."""
        lane = self.lane
        added: dict[str, Array | float] = {lane.service.delay_leg: delay}
        for leg, days in ((CLEARANCE_LEG, papers), (ORIGIN_LEG, self.layover_days)):
            added[leg] = added.get(leg, 0.0) + days
        ends = leg_ends(lane.legs, body, added_days=added, wait_h=self.wait_h)
        return on_working_days(ends, lane, self.calendar, self.closed_at)

    def given_total(self, total_days: float, n: int, *, at: float, dates_only: bool = False) -> Array:
        """Return the ends of n journeys that took so long, (legs, n), in proportion to how likely each is so long.

        Where no journey by the calendar and with the layover takes that long, one or both are set aside; where none
        does even so, the legs share the time.

        Parameters
        ----------
        total_days : float
            From closing to opening.
        n : int
        at : float
            In [0, 1): where the systematic sample begins.
        dates_only : bool
            Whether the total is a difference of dates.
        """
        for way in self._ways():
            ends, log_weight = way._with_total(total_days, dates_only=dates_only)
            if len(log_weight):
                return ends[:, chosen(log_weight, n, at)]
        return leg_ends(self.lane.legs, np.full(n, total_days), added_days={}, wait_h=self.wait_h)

    def _ways(self) -> Iterator["Itinerary"]:
        always = self.calendar.all_open
        for calendar in (self.calendar, always):
            for layover in dict.fromkeys((self.layover_days, 0.0)):
                for papers in dict.fromkeys((self.papers_days, 0.0)):
                    yield Itinerary(self.lane, calendar, self.transit, self.closed_at, layover, papers, self.wait_h)

    def _with_total(self, total_days: float, *, dates_only: bool) -> tuple[Array, Array]:
        """Return the ends of all journeys of this total and the log density of each."""
        none = np.empty((len(self.lane.legs), 0)), np.empty(0)
        if not self.transit.body.scale:
            return none
        body, delay, papers, log_weight = [], [], [], []
        for wait in self._waits_for_papers():
            for closed in range(most_waited(self.lane, self.calendar, self.closed_at, total_days) + 1):
                spent = spent_days(self.transit, total_days - self.layover_days - wait - closed, dates_only=dates_only)
                body.append(spent.body)
                delay.append(spent.delay)
                papers.append(np.full(len(spent.body), wait))
                log_weight.append(spent.log_weight)
        if not any(map(len, log_weight)):
            return none
        ends = self.ends_h(*(np.concatenate(part) for part in (body, delay, papers)))
        # Of the waits for a worked day that were tried, those stand that the calendar brings about.
        same = np.abs(ends[-1] / 24.0 - total_days) < SAME_DAYS
        return ends[:, same], np.concatenate(log_weight)[same]

    def _waits_for_papers(self) -> list[float]:
        return waits_for_papers(self.papers_days, PAPERS_NODES).tolist() if self.papers_days else [0.0]


def waits_for_papers(median_days: float, n: int) -> Array:
    """Return n equally likely waits for papers, days, (n,)."""
    scores = ndtri((np.arange(n) + 0.5) / n)
    return np.asarray(median_days * np.exp(PAPERS_SD_LOG * scores))


def on_working_days(
    ends_h: Array, lane: Lane, calendar: LaneCalendar, closed_at: datetime, *, hub: bool = True
) -> Array:
    """Return the ends of legs, (legs, journeys), of boxes that go on and are opened on working days only.

    A box that comes to its hub on a day that is not worked there waits for the next one that is, and so does one that
    would be opened; the latter lies in clearance meanwhile.

    Parameters
    ----------
    ends_h : (legs, journeys)
        As if every day were worked.
    lane, calendar
    closed_at : datetime
        The closing of the box, in UTC.
    hub : bool
        Whether the hub is still ahead.
    """
    ends, names = ends_h.copy(), [leg.leg for leg in lane.legs]
    if hub and calendar.hub is not None:
        at = names.index(HUB_LEG)
        ends[at:] += 24.0 * _until_open(calendar.hub, *lane.day_offset(closed_at, "hub"), ends[at - 1])
    opened = _until_open(calendar.destination, *lane.day_offset(closed_at, "destination"), ends[-1])
    ends[names.index(CLEARANCE_LEG) :] += 24.0 * opened
    return ends


def _until_open(days: WorkingDays, first_day: date, offset: float, hours: Array) -> Array:
    """Return how many days boxes wait that come so many hours after the closing, (journeys,)."""
    day = (offset + hours / 24.0).astype(int)
    waits: Array = days.until_open(first_day, int(day.max()) + 1)[day]
    return waits


def most_waited(lane: Lane, calendar: LaneCalendar, closed_at: datetime, total_days: float) -> int:
    """Return the most days that a box opened after so many can have waited for days that are worked.

    None at the destination if it was opened on a day that is not worked: then it was worked after all.
    """
    first_day, offset = lane.day_offset(closed_at, "destination")
    opened = first_day + timedelta(days=int(offset + total_days))
    days = calendar.destination
    return (0 if days.is_closed(opened) else days.closed_before(opened)) + most_at_hub(
        lane, calendar, closed_at, total_days
    )


def not_before(
    lane: Lane, calendar: LaneCalendar, closed_at: datetime, elapsed_days: float, *, hub: bool = True
) -> float:
    """Return the days that a box which is not opened yet has surely taken, but for days that are not worked.

    `hub` says whether it may have waited at its hub.
    """
    taken = calendar.destination.surely_taken(*lane.day_offset(closed_at, "destination"), elapsed_days)
    return max(taken - (most_at_hub(lane, calendar, closed_at, elapsed_days) if hub else 0), 0.0)


def most_at_hub(lane: Lane, calendar: LaneCalendar, closed_at: datetime, within_days: float) -> int:
    """Return the most days that a box can wait for a worked day at its hub."""
    if calendar.hub is None:
        return 0
    first_day, offset = lane.day_offset(closed_at, "hub")
    return int(calendar.hub.until_open(first_day, int(offset + max(within_days, 0.0)) + 1).max())


def origin_layover(lane: Lane, calendar: LaneCalendar, ship_date: date) -> float:
    """Return the days that a box closed on a day waits for its pick-up: the service's layover, or until a worked day.

    None where the day is given as worked.
    """
    if ship_date in calendar.origin.opened:
        return 0.0
    until_open = float(calendar.origin.until_open(ship_date, 1)[0])
    return max(lane.service.layover_days(ship_date.weekday()), until_open)
