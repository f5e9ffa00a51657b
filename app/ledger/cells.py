"""The cells of a ledger's CSV file as values, column by column."""

from collections.abc import Mapping, Sequence
from enum import Enum
from itertools import zip_longest
from typing import Any, Final, get_args

from app.batch import resolve_place
from app.ledger.csv_cells import (
    CellFault,
    DateOrder,
    Parser,
    code_cell,
    count_cell,
    currency_cell,
    dates_cell,
    fahrenheit_cell,
    number_cell,
    text_cell,
)
from app.ledger.csv_faults import CsvFaults
from app.ledger.csv_text import CsvRow
from app.problems import InvalidInput
from app.records import COLUMNS, FAHRENHEIT_COLUMNS, FILE_COLUMNS, REQUIRED_COLUMNS, Cell
from app.schemas import ContainerCode, RootsCode, SellerKind, ServiceCode
from model.reference import COLDEST_C, WARMEST_C, Reference

# Looking for near codes takes milliseconds a code; a file with so many unknown ones is not a ledger.
MAX_UNKNOWN_PLACES = 100
MAX_COUNT = 100_000
MAX_MONEY = 1e9

REQUIRED_CELLS = frozenset(
    {
        "shipment",
        "service",
        "origin",
        "destination",
        "container",
        "roots",
        "ship_date",
        "arrival_date",
        "genus",
        "sent",
    }
)
"""Columns without blank cells."""


class Faulty(Enum):
    """Stands for the value of a cell that is at fault."""

    FAULTY = 0


FAULTY: Final = Faulty.FAULTY
Values = Sequence[Cell | Faulty]


class PlaceCells:
    """Parses codes of places and keeps their time zones."""

    def __init__(self, reference: Reference) -> None:
        self._reference = reference
        self._n_unknown = 0
        self.zones: dict[str, str] = {}

    def parse(self, cell: str) -> str:
        """Return the code of a place, small or capital letters alike."""
        code = cell.upper()
        if len(code) != 3 or not code.isascii() or not code.isalpha():  # noqa: PLR2004 - as the message says
            raise CellFault("must be three letters, the code of an airport or a city, such as BKK")
        if code not in self.zones:
            if self._n_unknown >= MAX_UNKNOWN_PLACES:
                raise CellFault("was not looked up, after many unknown codes: correct those first")
            try:
                self.zones[code] = resolve_place(code, "", self._reference).place.time_zone
            except InvalidInput as unknown:
                self._n_unknown += 1
                raise CellFault(unknown.errors[0].message) from None
        return code


def parsers(places: PlaceCells, delimiter: str, dates: DateOrder | None) -> dict[str, Parser]:
    """Return the parser of each column in a file with this delimiter and this order of its dates."""
    date_cell = dates_cell(dates)
    count = count_cell(0, MAX_COUNT, delimiter=delimiter)
    money = number_cell(0, MAX_MONEY, delimiter=delimiter)
    celsius = number_cell(COLDEST_C, WARMEST_C, delimiter=delimiter)
    fahrenheit = fahrenheit_cell(COLDEST_C, WARMEST_C, delimiter=delimiter)
    of_column: dict[str, Parser] = dict.fromkeys(COLUMNS, count)
    of_column |= dict.fromkeys(FAHRENHEIT_COLUMNS, fahrenheit) | dict.fromkeys(FAHRENHEIT_COLUMNS.values(), celsius)
    return of_column | {
        "shipment": text_cell,
        "seller": text_cell,
        "service": code_cell(get_args(ServiceCode)),
        "origin": places.parse,
        "destination": places.parse,
        "container": code_cell(get_args(ContainerCode)),
        "roots": code_cell(get_args(RootsCode)),
        "heat_pack_hours": number_cell(0, 240, delimiter=delimiter),
        "ship_date": date_cell,
        "arrival_date": date_cell,
        "genus": text_cell,
        "cultivar": text_cell,
        "heat_packs": count_cell(0, 20, delimiter=delimiter),
        "cold_packs": count_cell(0, 50, delimiter=delimiter),
        "seller_kind": code_cell(get_args(SellerKind)),
        "unit_cost": money,
        "sale_value": money,
        "currency": currency_cell,
        "recheck_date": date_cell,
    }


def parse_columns(
    rows: Sequence[CsvRow], header: Mapping[str, int], of_column: Mapping[str, Parser], faults: CsvFaults
) -> dict[str, Values]:
    """Return the values of every column, shape (n_rows,) each; None where a cell is blank or a free column missing.

    Cells at fault are noted and have the value `FAULTY`, as those of a required column that is missing.
    """
    columns: dict[str, Values] = {}
    instead = {celsius for fahrenheit, celsius in FAHRENHEIT_COLUMNS.items() if fahrenheit in header}
    table = list(zip_longest(*(row.cells for row in rows), fillvalue=""))
    # Cells missing at the end of all rows are blank too.
    table += [("",) * len(rows)] * (max(header.values(), default=-1) + 1 - len(table))
    for name in FILE_COLUMNS:
        if name not in header:
            # A column that must be there is noted with the header; what needs its cells is not asked of them.
            missing = name in REQUIRED_COLUMNS and name not in instead
            columns[name] = [FAULTY if missing else None] * len(rows)
            continue
        place = header[name]
        # A column has few distinct cells: each is read once.
        cells = table[place]
        values, messages = _parse_distinct(set(cells), of_column[name], required=name in REQUIRED_CELLS)
        columns[name] = [values[cell] for cell in cells]
        if messages:
            for row, cell in zip(rows, cells, strict=True):
                if cell in messages:
                    faults.add(row.number, name, messages[cell])
    columns |= _in_celsius([row.number for row in rows], columns, faults)
    return {name: columns[name] for name in COLUMNS} | _defaults(columns)


def _parse_distinct(
    cells: set[str], parse: Parser, *, required: bool
) -> tuple[dict[str, Cell | Faulty], dict[str, str]]:
    values: dict[str, Cell | Faulty] = {}
    messages: dict[str, str] = {}
    # In order, so that what is said of many unknown codes does not depend on the hash of a text.
    for cell in sorted(cells):
        try:
            values[cell] = _parsed(cell.strip(), parse, required=required)
        except CellFault as fault:
            values[cell], messages[cell] = FAULTY, str(fault)
    return values, messages


def _parsed(text: str, parse: Parser, *, required: bool) -> Cell:
    if text:
        return parse(text)
    if required:
        raise CellFault("is required")
    return None


def _in_celsius(numbers: Sequence[int], columns: Mapping[str, Values], faults: CsvFaults) -> dict[str, Values]:
    """Return the columns of temperatures, cells given in °F converted; a cell given in both is noted as a fault."""
    merged: dict[str, Values] = {}
    for written, name in FAHRENHEIT_COLUMNS.items():
        values: list[Cell | Faulty] = []
        for number, celsius, converted in zip(numbers, columns[name], columns[written], strict=True):
            if converted is None:
                values.append(celsius)
                continue
            faults.stands_in(number, name, written)
            if celsius is None:
                values.append(converted)
                continue
            values.append(FAULTY)
            if FAULTY not in (celsius, converted):
                faults.add(number, written, f"must be blank beside {name}: give the temperature once, in °C or in °F")
        merged[name] = values
    return merged


def _defaults(columns: Mapping[str, Any]) -> dict[str, Values]:
    """Return the columns whose blank cells say something: no packs, and one heat pack where there are hours."""
    hours = [0.0 if value is None else value for value in columns["heat_pack_hours"]]
    return {
        "heat_pack_hours": hours,
        "heat_packs": [
            (1 if own is not FAULTY and own > 0 else 0) if value is None else value
            for value, own in zip(columns["heat_packs"], hours, strict=True)
        ],
        "cold_packs": [0 if value is None else value for value in columns["cold_packs"]],
    }
