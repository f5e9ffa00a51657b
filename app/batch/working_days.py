"""Days on which a service works at a place: not on the weekend, on public holidays, and on days given as closed.

Weekends and public holidays by country are those of the `holidays` package; the package is loaded when the first of
them is asked for.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache, cached_property, lru_cache
from importlib.metadata import version

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
USUAL_WEEKEND = frozenset({5, 6})
# No place is closed for longer; where one would be, it opens again after so many days.
MOST_CLOSED_DAYS = 400


@dataclass(frozen=True)
class WorkingDays:
    """When a service works at one place, in the place's own dates.

    Attributes
    ----------
    country : str
        ISO 3166 code.
    weekend : frozenset of int
        Weekdays without work, Monday 0; empty where the service works all week.
    holidays : bool
        Whether it rests on the country's public holidays.
    closed, opened : frozenset of date
        Days given as closed; days given as worked, whatever else is said of them.
    """

    country: str
    weekend: frozenset[int] = frozenset()
    holidays: bool = True
    closed: frozenset[date] = frozenset()
    opened: frozenset[date] = frozenset()

    def is_closed(self, day: date) -> bool:
        """Whether nothing is handed over on a day."""
        if day in self.opened:
            return False
        return day.weekday() in self.weekend or day in self.closed or self.holiday(day) is not None

    def holiday(self, day: date) -> str | None:
        """Return the name of the public holiday that a day is here; None where it is none, or is worked."""
        if not self.holidays or day in self.opened:
            return None
        return public_holidays(self.country, day.year).get(day)

    def rests_at_weekends(self, first: date, last: date) -> bool:
        """Whether a weekend day from one day to another is not worked."""
        days = (first + timedelta(days=i) for i in range((last - first).days + 1))
        return any(day.weekday() in self.weekend and day not in self.opened for day in days)

    def named(self, first: date, last: date) -> Iterator[tuple[date, str]]:
        """Yield the public holidays from one day to another with their names, but for those on the weekend."""
        for i in range((last - first).days + 1):
            day = first + timedelta(days=i)
            name = self.holiday(day)
            if name is not None and day.weekday() not in self.weekend:
                yield day, name

    def until_open(self, first_day: date, n_days: int) -> Array:
        """Return for each day from `first_day` how many days it takes until one that is worked, (n_days,)."""
        known = self._waits.get(first_day, np.empty(0))
        if len(known) < n_days:
            known = np.array(list(self._backwards(first_day, n_days))[::-1], dtype=float)
            self._waits[first_day] = known
        return known[:n_days]

    @cached_property
    def _waits(self) -> dict[date, Array]:
        return {}

    def _backwards(self, first_day: date, n_days: int) -> Iterator[int]:
        after = first_day + timedelta(days=n_days)
        wait = next((i for i in range(MOST_CLOSED_DAYS) if not self.is_closed(after + timedelta(days=i))), 0)
        for i in range(n_days - 1, -1, -1):
            wait = wait + 1 if self.is_closed(first_day + timedelta(days=i)) else 0
            yield wait

    def closed_before(self, day: date) -> int:
        """Return how many closed days lie right before a day."""
        return next((i for i in range(MOST_CLOSED_DAYS) if not self.is_closed(day - timedelta(days=i + 1))), 0)

    def surely_taken(self, first_day: date, offset: float, elapsed_days: float) -> float:
        """Return the days that a box has surely taken to come here if it is not opened after `elapsed_days`.

        One that came on closed days waits for the next open one, so it may have come since those days began.

        Parameters
        ----------
        first_day, offset : date, float
            The date here when the box was closed, and the part of that day which was over.
        elapsed_days : float
            At least 0.
        """
        day = int(np.floor(offset + elapsed_days))
        today = first_day + timedelta(days=day)
        closed = self.closed_before(today)
        if not closed and not self.is_closed(today):
            return elapsed_days
        return min(max(day - closed - offset, 0.0), elapsed_days)


@lru_cache(maxsize=1024)
def public_holidays(country: str, year: int) -> dict[date, str]:
    """Return the public holidays of a whole country in a year with their names; none where they are not known."""
    import holidays  # noqa: PLC0415 - a tenth of a second that a process without lanes does not need

    try:
        found = holidays.country_holidays(country, years=year, language="en_US")
    except NotImplementedError:
        return {}
    return {day: name for day, name in found.items() if day.year == year}


@lru_cache(maxsize=256)
def weekend_of(country: str) -> frozenset[int]:
    """Return the weekdays without work of a country, Monday 0; Saturday and Sunday where they are not known."""
    import holidays  # noqa: PLC0415 - as above

    try:
        return frozenset(int(day) for day in holidays.country_holidays(country).weekend) or USUAL_WEEKEND
    except NotImplementedError:
        return USUAL_WEEKEND


@cache
def holidays_source() -> str:
    """Return what public holidays are taken from."""
    return f"holidays {version('holidays')}"


@dataclass(frozen=True)
class LaneCalendar:
    """When a service works along a lane; `hub` is None where the lane has no hub of its own."""

    origin: WorkingDays
    hub: WorkingDays | None
    destination: WorkingDays

    @property
    def all_open(self) -> "LaneCalendar":
        """The same lane as if every day were worked."""
        open_ends = (WorkingDays(days.country, holidays=False) for days in (self.origin, self.destination))
        origin, destination = open_ends
        return LaneCalendar(origin, None, destination)
