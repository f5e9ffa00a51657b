"""One cell of a CSV file as a value, in the forms that spreadsheets write it, or what would be right instead."""

import re
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from difflib import get_close_matches
from functools import partial
from typing import Literal
from unicodedata import category

from app.records import Cell

Parser = Callable[[str], Cell]
DateOrder = Literal["day_first", "month_first"]
"""What stands first in 03/04/2027."""

_ASK = "write the date YYYY-MM-DD, or import with dates=day_first or dates=month_first (--dates)"
AMBIGUOUS_DATE = f"may be read day first or month first: {_ASK}"
AMBIGUOUS_SHORT_DATE = f"may be read in more than one order: {_ASK}"

MAX_CHARACTERS = 120
FIRST_YEAR, LAST_YEAR = 1900, 2199
CENTURY = 2000
LAST_MONTH = 12
TAKEN_CONTROLS = frozenset("\t\n\r")

_YEAR_FIRST = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})")
_YEAR_LAST = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4})")
_SHORT_YEAR = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{2})")
_MIDNIGHT = re.compile(r"[ T]0?0:00(:00([.,]0+)?)?Z?$")
_SERIAL = re.compile(r"[0-9]{5,6}([.,][0-9]+)?")

_ONE_MARK = re.compile(r"([+-]?)([0-9]*)(?:([.,])([0-9]+))?((?:[eE][+-]?[0-9]{1,3})?)")
_COMMA_GROUPS = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]+)?")
_POINT_GROUPS = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:\.[0-9]{3})+(?:,[0-9]+)?")
_THOUSANDS_DIGITS = 3
# The mark that may stand between thousands, by the delimiter of the file.
_FOREIGN_MARKS = {",": ",", ";": ".", "\t": ",."}

# Where a spreadsheet could begin a cell, and what it would then run; some take full-width signs too. A quotation mark,
# a delimiter or a line break inside a text begins a cell for a program that reads the file in another way.
_BEGIN = r'(^|[,;\t\r\n"])'
_RUN = r"[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]"
_TO_INERT = re.compile(rf"{_BEGIN}(?='*{_RUN})")
_FROM_INERT = re.compile(rf"{_BEGIN}'(?='*{_RUN})")


class CellFault(Exception):  # noqa: N818 - it carries what would be right
    """A cell that cannot be taken; its text says what would be right."""


def inert(text: str) -> str:
    """Return a text that no spreadsheet runs as a formula: an apostrophe goes before whatever it would run."""
    return _TO_INERT.sub(r"\1'", text)


def from_inert(text: str) -> str:
    """Return the text that `inert` was given."""
    return _FROM_INERT.sub(r"\1", text)


def text_cell(cell: str) -> str:
    """Return a text of up to 120 characters, as it was before `inert`."""
    text = from_inert(cell).strip()
    if len(text) > MAX_CHARACTERS:
        raise CellFault(f"must be a text of up to {MAX_CHARACTERS} characters")
    if any(category(c) == "Cc" and c not in TAKEN_CONTROLS for c in text):
        raise CellFault("must not contain control characters: save the file again as CSV UTF-8")
    return text


def code_cell(codes: tuple[str, ...]) -> Parser:
    """Return a parser of one of some codes, small or capital letters alike."""

    def parse(cell: str) -> str:
        folded = cell.casefold()
        if folded in codes:
            return folded
        near = get_close_matches(re.sub(r"[\s-]+", "_", folded[:MAX_CHARACTERS]), codes, n=1)
        hint = f": did you mean {near[0]}?" if near else ""
        raise CellFault(f"must be {', '.join(codes[:-1])} or {codes[-1]}{hint}")

    return parse


def currency_cell(cell: str) -> str:
    """Return a currency code in capital letters."""
    if not re.fullmatch(r"[A-Za-z]{3}", cell):
        raise CellFault("must be three letters, a currency of ISO 4217 such as EUR")
    return cell.upper()


def dates_cell(order: DateOrder | None) -> Parser:
    """Return a parser of dates in a file in which such as 03/04/2027 are in an order; None where nobody has said."""
    return partial(date_cell, order=order)


def date_cell(cell: str, order: DateOrder | None = None) -> date:
    """Return a date written 2027-01-11, 11.01.2027 or 11.01.27, or with strokes where it cannot be mistaken."""
    words = _MIDNIGHT.sub("", cell)
    if found := _YEAR_FIRST.fullmatch(words):
        year, month, day = int(found[1]), int(found[3]), int(found[4])
    elif found := _YEAR_LAST.fullmatch(words):
        # Day first is the only custom with points. With strokes the month stands first in some countries.
        first, second, year = int(found[1]), int(found[3]), int(found[4])
        day, month = (first, second) if found[2] == "." else _in_order(first, second, order)
    elif found := _SHORT_YEAR.fullmatch(words):
        return _short_date(int(found[1]), found[2], int(found[3]), int(found[4]), order)
    elif _SERIAL.fullmatch(words):
        raise CellFault(
            "must be a date written YYYY-MM-DD; this looks like a spreadsheet's day number: give the column the date "
            "format yyyy-mm-dd and save the file again"
        )
    else:
        raise CellFault("must be a date written YYYY-MM-DD")
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise CellFault(f"must be a date written YYYY-MM-DD, {FIRST_YEAR} to {LAST_YEAR}")
    try:
        return date(year, month, day)
    except ValueError:
        raise CellFault("must be a day of the calendar, written YYYY-MM-DD") from None


def _short_date(first: int, mark: str, second: int, third: int, order: DateOrder | None) -> date:
    """Return a date of three numbers of two digits, of this century, in the orders that are customs with a mark."""
    orders = {"day_first": (third, second, first)}
    if mark != ".":
        orders["month_first"] = (third, first, second)
    if mark == "-":
        orders["year_first"] = (first, second, third)  # as ISO 8601 has it, but for the century
    fitting = {}
    for name, (year, month, day) in orders.items():
        with suppress(ValueError):
            fitting[name] = date(CENTURY + year, month, day)
    if not fitting:
        raise CellFault("must be a day of the calendar, written YYYY-MM-DD")
    if order is not None and order in fitting and mark != ".":
        return fitting[order]
    if len(set(fitting.values())) > 1:
        raise CellFault(AMBIGUOUS_SHORT_DATE)
    name, found = next(iter(fitting.items()))
    if mark != "." and order is not None and name != "year_first":
        raise CellFault(f"is {name}, but the file was said to be {order}: write the date YYYY-MM-DD")
    return found


def _in_order(first: int, second: int, order: DateOrder | None) -> tuple[int, int]:
    """Return day and month of two numbers of which either may stand first."""
    only: DateOrder | None = None
    if first > LAST_MONTH or second > LAST_MONTH:
        only = "month_first" if first <= LAST_MONTH else "day_first"
    elif first != second and order is None:
        raise CellFault(AMBIGUOUS_DATE)
    if only is not None and order not in (None, only):
        raise CellFault(f"is {only}, but the file was said to be {order}: write the date YYYY-MM-DD")
    return (second, first) if (only or order) == "month_first" else (first, second)


def number_cell(low: float, high: float, *, delimiter: str) -> Parser:
    """Return a parser of a number in a range, in a file with this delimiter (see `_readings`)."""

    def parse(cell: str) -> float:
        fitting = {value for value in _readings(cell, delimiter) if low <= value <= high}
        if not fitting:
            raise CellFault(f"must be a number, {low:,.15g} to {high:,.15g}")
        # Adding 0 takes the sign off a zero.
        return _only(fitting) + 0.0

    return parse


def fahrenheit_cell(low_c: float, high_c: float, *, delimiter: str) -> Parser:
    """Return a parser of a temperature in °F as °C, of a range in °C; to 0.01 °C, finer than loggers are."""
    in_fahrenheit = number_cell(low_c * 9 / 5 + 32, high_c * 9 / 5 + 32, delimiter=delimiter)

    def parse(cell: str) -> float:
        fahrenheit = in_fahrenheit(cell)
        assert isinstance(fahrenheit, float)  # noqa: S101 - a number's cell is a number
        return round((fahrenheit - 32) * 5 / 9, 2) + 0.0

    return parse


def count_cell(low: int, high: int, *, delimiter: str) -> Parser:
    """Return a parser of a whole number in a range; 15.0 is 15."""

    def parse(cell: str) -> int:
        fitting = {value for value in _readings(cell, delimiter) if low <= value <= high and value.is_integer()}
        if not fitting:
            raise CellFault(f"must be a whole number, {low:,} to {high:,}")
        return int(_only(fitting))

    return parse


def _only(values: set[float]) -> float:
    if len(values) > 1:
        raise CellFault("may be read as a decimal or as thousands: write the number without marks between thousands")
    return next(iter(values))


def _readings(cell: str, delimiter: str) -> set[float]:
    """Return what a number may mean: 2.5 and 2,5 one thing, 1.250,5 one, 1,250 two, 1.250 two beside semicolons.

    A point between thousands is the custom where the decimal mark is a comma, and there cells are not delimited by
    commas. With a semicolon the comma is a decimal mark; with a tab, anything goes.
    """
    if cell.count(",") + cell.count(".") > 1:
        if _COMMA_GROUPS.fullmatch(cell):
            return {float(cell.replace(",", ""))}
        return {float(cell.replace(".", "").replace(",", "."))} if _POINT_GROUPS.fullmatch(cell) else set()
    found = _ONE_MARK.fullmatch(cell)
    if found is None or not (found[2] or found[4]):
        return set()
    sign, digits, mark, fraction, exponent = found.groups()
    readings = {float(f"{sign}{digits or 0}.{fraction or 0}{exponent}")}
    foreign = mark is not None and mark in _FOREIGN_MARKS[delimiter]
    if foreign and not exponent and len(fraction) == _THOUSANDS_DIGITS and re.fullmatch("[1-9][0-9]{0,2}", digits):
        readings.add(float(f"{sign}{digits}{fraction}"))
    return readings
