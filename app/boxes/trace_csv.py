"""The trace of a logger as a CSV text: the columns ``at`` and ``inside_c``, others left alone."""

from collections.abc import Callable
from datetime import datetime
from itertools import islice
from typing import NamedTuple

from app.ledger import FIRST_YEAR, LAST_YEAR, BrokenRow, CellFault, CsvRow, number_cell, read_table
from app.problems import MAX_ERRORS, FieldError, InvalidInput
from app.schemas import MAX_READINGS
from app.store import Reading
from model.reference import COLDEST_C, WARMEST_C

POINTER = "/logger_csv"
COLUMNS = ("at", "inside_c")


class TraceRow(NamedTuple):
    """A reading and the row it stands in, the header being row 1."""

    number: int
    reading: Reading


def parse_trace(text: str) -> list[TraceRow]:
    """Return the readings in a CSV text, in its order.

    Raises
    ------
    InvalidInput
        With every cell at fault, by row and column.
    """
    table = read_table(text.encode(), COLUMNS)
    try:
        # One more than is taken, and the header.
        table_rows = list(islice(table.rows, MAX_READINGS + 2))
    except BrokenRow as broken:
        raise InvalidInput([FieldError(POINTER, broken.message, broken.number)]) from None
    if not table_rows:
        raise InvalidInput([FieldError(POINTER, "is empty: the first row must be at,inside_c")])
    places = _places(table_rows[0])
    if len(table_rows) - 1 > MAX_READINGS:
        message = f"has more than {MAX_READINGS:,} readings: keep one every few minutes"
        raise InvalidInput([FieldError(POINTER, message)])
    parsers: dict[str, Callable[[str], object]] = {
        "at": moment_cell,
        "inside_c": number_cell(COLDEST_C, WARMEST_C, delimiter=table.delimiter),
    }
    faults: list[FieldError] = []
    n_faults = 0
    rows = []
    for row in table_rows[1:]:
        cells: list[object] = []
        for name in COLUMNS:
            try:
                cells.append(parsers[name](_cell(row, places[name])))
            except CellFault as fault:
                n_faults += 1
                if len(faults) < MAX_ERRORS:
                    faults.append(FieldError(POINTER, str(fault), row.number, name))
        if len(cells) == len(COLUMNS):
            rows.append(TraceRow(row.number, Reading(*cells)))  # type: ignore[arg-type]
    if faults:
        raise InvalidInput(faults, n_faults)
    return rows


def moment_cell(cell: str) -> datetime:
    """Return a moment of ISO 8601 with its offset."""
    try:
        moment = datetime.fromisoformat(cell)
    except ValueError:
        raise CellFault("must be a moment of ISO 8601 with its offset, such as 2027-01-11T08:00:00+07:00") from None
    if moment.tzinfo is None:
        raise CellFault("needs its offset from UTC, such as +07:00, or Z for UTC")
    if not FIRST_YEAR < moment.year < LAST_YEAR:
        raise CellFault(f"must be a moment of the years {FIRST_YEAR + 1} to {LAST_YEAR - 1}")
    return moment


def _places(header: CsvRow) -> dict[str, int]:
    names = [name.strip().casefold() for name in header.cells]
    faults = []
    for name in COLUMNS:
        if names.count(name) != 1:
            wrong = "is missing in the header" if name not in names else "stands twice in the header: delete one"
            faults.append(FieldError(POINTER, f"{wrong}: the first row must be at,inside_c", header.number, name))
    if faults:
        raise InvalidInput(faults)
    return {name: names.index(name) for name in COLUMNS}


def _cell(row: CsvRow, place: int) -> str:
    cell = row.cells[place].strip() if place < len(row.cells) else ""
    if not cell:
        raise CellFault("is required")
    return cell
