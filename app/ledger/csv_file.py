"""A ledger's CSV file as records of shipments, or every cell that is not as it should be."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any, NamedTuple

from app.ledger.cells import PlaceCells, parse_columns, parsers
from app.ledger.checks import check_rows, check_shipments
from app.ledger.csv_faults import CsvFaults
from app.ledger.csv_text import MISPLACED_QUOTE, CsvRow, read_table
from app.ledger.header import read_header
from app.problems import FieldError, InvalidCells
from app.records import (
    COLUMNS,
    FAHRENHEIT_COLUMNS,
    FILE_COLUMNS,
    LINE_COLUMNS,
    SHIPMENT_COLUMNS,
    LineRecord,
    ShipmentRecord,
)
from model.reference import Reference

# A clock that is a little off, and a day that has begun elsewhere.
MOST_AHEAD = timedelta(days=1)


class FileShipment(NamedTuple):
    """A shipment in a file, and the numbers of its rows, in the order of its lines."""

    record: ShipmentRecord
    rows: tuple[int, ...]


class LedgerFile(NamedTuple):
    """The shipments of a file in the order of their first rows, and which columns it has, in °C what it has in °F."""

    shipments: list[FileShipment]
    columns: tuple[str, ...]
    n_rows: int


def parse_ledger(data: bytes, reference: Reference, *, now: datetime) -> LedgerFile:
    """Return the shipments in a CSV file, whose dates may lie up to a day ahead of now.

    Raises
    ------
    InvalidCells
        With every cell at fault, up to `MAX_CELL_ERRORS`.
    """
    table = read_table(data, FILE_COLUMNS)
    faults = CsvFaults()
    if table.broken_row is not None:
        faults.add(table.broken_row, "", MISPLACED_QUOTE)
    elif not table.rows:
        raise InvalidCells([FieldError("", "is empty: the first row must name the columns")])
    header = read_header(table.rows[0], faults) if table.rows else {}
    if not header:
        faults.refuse()
    rows = _full_rows(table.rows[1:], len(table.rows[0].cells), faults)
    places = PlaceCells(reference)
    columns = parse_columns(rows, header, parsers(places, table.delimiter), faults)
    numbers = [row.number for row in rows]
    check_rows(numbers, columns, places.zones, now.date() + MOST_AHEAD, faults)
    check_shipments(numbers, columns, faults)
    faults.refuse()
    told = {FAHRENHEIT_COLUMNS.get(name, name) for name in header}
    present = tuple(name for name in COLUMNS if name in told)
    return LedgerFile(_shipments(numbers, columns), present, len(rows))


def _full_rows(rows: Sequence[CsvRow], n_columns: int, faults: CsvFaults) -> list[CsvRow]:
    """Return the rows that do not go on beyond the header; cells missing at the end are blank."""
    kept = []
    for row in rows:
        if any(cell.strip() for cell in row.cells[n_columns:]):
            faults.add(row.number, "", "has more cells than the header: quote cells that contain the delimiter")
        else:
            kept.append(row)
    return kept


def _shipments(numbers: Sequence[int], columns: Mapping[str, Sequence[Any]]) -> list[FileShipment]:
    """Return the shipments of rows without faults."""
    rows_of: defaultdict[str, list[int]] = defaultdict(list)
    for i, name in enumerate(columns["shipment"]):
        rows_of[name].append(i)
    of_shipment = [columns[name] for name in SHIPMENT_COLUMNS]
    of_line = [columns[name] for name in LINE_COLUMNS]
    rechecks = columns["recheck_date"]
    shipments = []
    for rows in rows_of.values():
        # The first of the rows that were looked at again knows when.
        rechecked = next((rechecks[i] for i in rows if rechecks[i] is not None), None)
        lines = tuple(LineRecord(*(column[i] for column in of_line)) for i in rows)
        record = ShipmentRecord._make([*(column[rows[0]] for column in of_shipment), lines])
        shipments.append(FileShipment(record._replace(recheck_date=rechecked), tuple(numbers[i] for i in rows)))
    return shipments
