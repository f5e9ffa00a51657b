"""Transit time of a recorded box from its two local dates."""

from datetime import date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from model.reference import CONSTANTS

SHORTEST_DAYS = 0.5
LONGEST_DAYS = CONSTANTS.longest_transit_days
SHORTEST_TIMED_DAYS = 1.0 / 24.0
SECONDS_A_DAY = 86_400.0
NOON = time(12)
# How far ahead of now what has happened may lie: a clock that is a little off, and a day that has begun elsewhere.
MOST_AHEAD = timedelta(days=1)


def days_between(ship_date: date, arrival_date: date, origin_zone: str, destination_zone: str) -> float:
    """Return the days from one local date to another at the same time of day, less what the clocks differ.

    It is negative where the arrival is before the departure, and for a box that arrives on its local date of departure
    further east; the time of day is known in neither place.
    """
    clocks = _utc_offset_days(origin_zone, ship_date) - _utc_offset_days(destination_zone, arrival_date)
    return (arrival_date - ship_date).days + clocks


def recorded_transit_days(ship_date: date, arrival_date: date, origin_zone: str, destination_zone: str) -> float:
    """Return the days from closing the box to opening it, at least half a day."""
    return max(SHORTEST_DAYS, days_between(ship_date, arrival_date, origin_zone, destination_zone))


def timed_transit_days(departed_at: datetime, opened_at: datetime) -> float:
    """Return the days from one moment to another, at least an hour."""
    return max(SHORTEST_TIMED_DAYS, (opened_at - departed_at).total_seconds() / SECONDS_A_DAY)


def known_transit_days(
    ship_date: date,
    arrival_date: date,
    departed_at: datetime | None,
    opened_at: datetime | None,
    zones: tuple[str, str],
) -> float:
    """Return the days from departure to opening: from times where both are known, else from the local dates.

    `zones` are those of origin and destination; the date of opening counts where its time is known.
    """
    if opened_at is None:
        return recorded_transit_days(ship_date, arrival_date, *zones)
    if departed_at is None:
        return recorded_transit_days(ship_date, local_date(opened_at, zones[1]), *zones)
    return timed_transit_days(departed_at, opened_at)


def local_date(moment: datetime, zone: str) -> date:
    """Return the date of a moment where it happened."""
    return moment.astimezone(ZoneInfo(zone)).date()


def arrival_fault(ship_date: date, arrival_date: date, origin_zone: str, destination_zone: str) -> str | None:
    """Return what is wrong with a date of arrival, or None.

    Only across the date line can a box arrive on a local date before that of its departure.
    """
    days = days_between(ship_date, arrival_date, origin_zone, destination_zone)
    if arrival_date < ship_date and days < 0.0:
        return "must not be before ship_date"
    if days > LONGEST_DAYS:
        return f"must be at most {LONGEST_DAYS:.0f} days after ship_date"
    return None


@lru_cache(maxsize=65_536)
def _utc_offset_days(zone: str, day: date) -> float:
    offset = datetime.combine(day, NOON, tzinfo=ZoneInfo(zone)).utcoffset()
    assert offset is not None  # noqa: S101 - a zone always has one
    return offset.total_seconds() / SECONDS_A_DAY
