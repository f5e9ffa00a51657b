"""A ledger's CSV file as records of shipments, or every cell that is not as it should be."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from itertools import islice
from typing import Any, NamedTuple

from app.ledger.cells import PlaceCells, parse_columns, parsers
from app.ledger.checks import check_rows, check_shipments
from app.ledger.csv_cells import DateOrder
from app.ledger.csv_faults import CsvFaults
from app.ledger.csv_text import BrokenRow, CsvRow, read_table
from app.ledger.header import read_header
from app.problems import FieldError, InvalidCells
from app.records import (
    COLUMNS,
    FAHRENHEIT_COLUMNS,
    FILE_COLUMNS,
    LINE_COLUMNS,
    MOST_AHEAD,
    SHIPMENT_COLUMNS,
    LineRecord,
    ShipmentRecord,
)
from model.reference import Reference

# Few enough to stop soon, many enough that each distinct cell is read once in most files.
BLOCK_ROWS = 5_000
# How workbooks of spreadsheets begin: a zip archive, or the format before it.
WORKBOOK_MARKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
WORKBOOK = "is a spreadsheet's workbook, not CSV: save the sheet as CSV UTF-8 and send that file"


class FileShipment(NamedTuple):
    """A shipment in a file, and the numbers of its rows, in the order of its lines."""

    record: ShipmentRecord
    rows: tuple[int, ...]


class LedgerFile(NamedTuple):
    """The shipments of a file in the order of their first rows, and which columns it has, in °C what it has in °F."""

    shipments: list[FileShipment]
    columns: tuple[str, ...]
    n_rows: int


def parse_ledger(data: bytes, reference: Reference, *, now: datetime, dates: DateOrder | None = None) -> LedgerFile:
    """Return the shipments in a CSV file, whose dates may lie up to a day ahead of now.

    It is read in blocks of rows, and not any further once more is wrong than anybody would read. `dates` says what
    stands first in 03/04/2027; where nobody has said it, such a date is a fault.

    Raises
    ------
    InvalidCells
        With every cell at fault, up to `MAX_CELL_ERRORS`.
    """
    if data.startswith(WORKBOOK_MARKS):
        raise InvalidCells([FieldError("", WORKBOOK)])
    table = read_table(data, FILE_COLUMNS)
    faults = CsvFaults()
    rows = _readable(table.rows, faults)
    first = next(rows, None)
    if first is None:
        faults.refuse()
        raise InvalidCells([FieldError("", "is empty: the first row must name the columns")])
    header = read_header(first, faults)
    if not header:
        faults.refuse()
    places = PlaceCells(reference)
    of_column = parsers(places, table.delimiter, dates)
    numbers: list[int] = []
    columns: dict[str, list[Any]] = {name: [] for name in COLUMNS}
    rows = _full_rows(rows, len(first.cells), faults)
    while block := list(islice(rows, BLOCK_ROWS)):
        own = [row.number for row in block]
        values = parse_columns(block, header, of_column, faults)
        check_rows(own, values, places.zones, now.date() + MOST_AHEAD, faults)
        if faults.too_many:
            faults.refuse(read_on=False)
        numbers += own
        for name in COLUMNS:
            columns[name] += values[name]
    check_shipments(numbers, columns, faults)
    faults.refuse()
    told = {FAHRENHEIT_COLUMNS.get(name, name) for name in header}
    present = tuple(name for name in COLUMNS if name in told)
    return LedgerFile(_shipments(numbers, columns), present, len(numbers))


def _readable(rows: Iterator[CsvRow], faults: CsvFaults) -> Iterator[CsvRow]:
    """Yield rows up to one that cannot be read, and note that."""
    try:
        yield from rows
    except BrokenRow as broken:
        faults.add(broken.number, "", broken.message)


def _full_rows(rows: Iterator[CsvRow], n_columns: int, faults: CsvFaults) -> Iterator[CsvRow]:
    """Yield the rows that do not go on beyond the header; cells missing at the end are blank."""
    for row in rows:
        if any(cell.strip() for cell in row.cells[n_columns:]):
            faults.add(row.number, "", "has more cells than the header: quote cells that contain the delimiter")
            if faults.too_many:
                faults.refuse(read_on=False)
        else:
            yield row


def _shipments(numbers: Sequence[int], columns: Mapping[str, Sequence[Any]]) -> list[FileShipment]:
    """Return the shipments of rows without faults."""
    rows_of: defaultdict[str, list[int]] = defaultdict(list)
    for i, name in enumerate(columns["shipment"]):
        rows_of[name].append(i)
    of_shipment = list(zip(*(columns[name] for name in SHIPMENT_COLUMNS), strict=True))
    of_line = list(map(LineRecord._make, zip(*(columns[name] for name in LINE_COLUMNS), strict=True)))
    rechecks = columns["recheck_date"]
    shipments = []
    for rows in rows_of.values():
        # The first of the rows that were looked at again knows when.
        rechecked = next((rechecks[i] for i in rows if rechecks[i] is not None), None)
        record = ShipmentRecord._make([*of_shipment[rows[0]], tuple(of_line[i] for i in rows)])
        shipments.append(FileShipment(record._replace(recheck_date=rechecked), tuple(numbers[i] for i in rows)))
    return shipments
