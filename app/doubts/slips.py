"""Slips of the pen, undone: each turns a recorded shipment into the record that would have been right."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np

from app.records import LONGEST_DAYS, SHORTEST_DAYS
from app.store import ShipmentColumns
from model.reference import COLDEST_C, CONSTANTS, WARMEST_C

FAHRENHEIT, DIGIT, MONTH, DAY_MONTH = "fahrenheit", "digit_lost", "month_off", "day_month_swapped"
SWAPPED, ODD = "healthy_dead_swapped", "implausible"
TEMPERATURE, SHIP, ARRIVAL = "inside_temp_c", "ship_date", "arrival_date"
# A doubt about one of them is one about the days of a box.
OF_TIME = (SHIP, ARRIVAL)
MONTHS = 12
# A digit or a mark lost: 21 for 2.1, 2.1 for 21.
DIGIT_SCALES = (10.0, 0.1)


class Celsius(NamedTuple):
    """What a recorded temperature stood for: `scale` x recorded + `shift`, °C; scale 0: nothing is known of it."""

    scale: float = 1.0
    shift: float = 0.0

    def of(self, recorded: float) -> float:
        """Return the temperature that was meant."""
        return self.scale * recorded + self.shift


AS_RECORDED, AS_FAHRENHEIT, UNKNOWN_C = Celsius(), Celsius(5.0 / 9.0, -160.0 / 9.0), Celsius(0.0, float("nan"))


@dataclass(frozen=True, slots=True)
class Slip:
    """A slip that may have been made in a column of a shipment, with the log of how often it is, and it undone.

    `days` are added to the ship date and the arrival date; a box whose days are not looked at has None.
    """

    code: str
    column: str
    log_prior: float
    celsius: Celsius = AS_RECORDED
    ship_days: int = 0
    arrival_days: int = 0

    @property
    def moves_dates(self) -> bool:
        """Whether a date differs from the record."""
        return bool(self.ship_days or self.arrival_days)


def possible_slips(shipments: ShipmentColumns, i: int) -> Iterator[Slip]:
    """Yield the slips in temperature and dates that could have made the record of shipment i."""
    logged_c = float(shipments.inside_temp_c[i])
    if not np.isnan(logged_c):
        yield Slip(FAHRENHEIT, TEMPERATURE, float(np.log(CONSTANTS.slip_fahrenheit_share)), AS_FAHRENHEIT)
        share = CONSTANTS.slip_digit_share / len(DIGIT_SCALES)
        for scale in DIGIT_SCALES:
            if COLDEST_C <= scale * logged_c <= WARMEST_C:
                yield Slip(DIGIT, TEMPERATURE, float(np.log(share)), Celsius(scale))
    ship, arrival = (column[i].astype(object) for column in (shipments.ship_date, shipments.arrival_date))
    month = float(np.log(0.25 * CONSTANTS.slip_month_share))
    for step in (1, -1):
        yield from _dated(ship, arrival, Slip(MONTH, SHIP, month, ship_days=_month_away(ship, step)))
        yield from _dated(ship, arrival, Slip(MONTH, ARRIVAL, month, arrival_days=_month_away(arrival, step)))
    ship_days, arrival_days = _swapped(ship), _swapped(arrival)
    share = float(np.log(CONSTANTS.slip_day_month_share / 3.0))
    yield from _dated(ship, arrival, Slip(DAY_MONTH, SHIP, share, ship_days=ship_days))
    yield from _dated(ship, arrival, Slip(DAY_MONTH, ARRIVAL, share, arrival_days=arrival_days))
    if ship_days and arrival_days:
        both = Slip(DAY_MONTH, SHIP, share, ship_days=ship_days, arrival_days=arrival_days)
        yield from _dated(ship, arrival, both)


def dates_hint(ship: date, arrival: date) -> str:
    """Return the slip that would make two dates those of a box, in words that end a sentence; empty where none does."""
    for words, moves in (
        ("day and month may be swapped", ((SHIP, _swapped(ship), 0), (ARRIVAL, 0, _swapped(arrival)))),
        ("the month may be wrong", ((SHIP, _month_away(ship, -1), 0), (ARRIVAL, 0, _month_away(arrival, 1)))),
    ):
        for column, ship_days, arrival_days in moves:
            days = (arrival - ship).days + arrival_days - ship_days
            if (ship_days or arrival_days) and 0 <= days <= CONSTANTS.slip_hinted_days:
                return f"; {words} in {column}: it would be {days} days"
    return ""


def _dated(ship: date, arrival: date, slip: Slip) -> Iterator[Slip]:
    """Yield a slip if the dates, it undone, could be those of a box."""
    days = (arrival - ship).days + slip.arrival_days - slip.ship_days
    if slip.moves_dates and 0 <= days + SHORTEST_DAYS <= LONGEST_DAYS:
        yield slip


def _month_away(day: date, step: int) -> int:
    """Return the days to the same day of the next month (1) or the last (-1), or to the end of that month."""
    month = day.month - 1 + step
    first = date(day.year + month // MONTHS, month % MONTHS + 1, 1)
    following = date(first.year + first.month // MONTHS, first.month % MONTHS + 1, 1)
    there = min(first + timedelta(day.day - 1), following - timedelta(1))
    return (there - day).days


def _swapped(day: date) -> int:
    """Return the days to the date with day and month swapped, 0 where there is none."""
    return (date(day.year, day.day, day.month) - day).days if day.day <= MONTHS and day.day != day.month else 0
