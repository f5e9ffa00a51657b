"""The ledger as a CSV file."""

import re
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from functools import cache

from app.ledger.csv_cells import inert
from app.records import COLUMNS, REQUIRED_COLUMNS, Cell
from app.store import Database, arrived_shipments

# More than the format asks for: a program that takes another delimiter shall see one cell too.
_QUOTED = re.compile(r'[",;\t\r\n]|^\s|\s$')
LINE_END = "\r\n"  # RFC 4180


def empty_csv() -> bytes:
    """Return a file to start from: the columns that an import needs, and no row."""
    return _line(REQUIRED_COLUMNS).encode()


def export_csv(database: Database) -> bytes:
    """Return all arrived shipments, by day of shipping, then name; their lines in the order they were recorded.

    Importing the file into an empty ledger gives the same export, byte for byte.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    records = [stored.record for stored in database.read(arrived_shipments) or []]
    # Sorted here: databases order texts by rules of their own.
    records.sort(key=lambda record: (record.ship_date, record.shipment))
    # A column has few cells that differ, and numbers that are equal read alike.
    written = cache(_written)
    rows = [COLUMNS, *(map(written, row) for record in records for row in record.rows())]
    return "".join(_line(row) for row in rows).encode()


def _line(cells: Iterable[str]) -> str:
    return ",".join(cells) + LINE_END


def _written(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        text = inert(value)
        return f'"{text.replace(chr(34), 2 * chr(34))}"' if _QUOTED.search(text) else text
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        # The shortest digits that read back as the same number, never with an exponent; 0 has no sign.
        return f"{value + 0.0:.0f}" if value.is_integer() else f"{Decimal(repr(value)):f}"
    return str(value)
