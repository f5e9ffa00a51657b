"""What the ledger records of a shipment, in the words of its CSV file."""

import unicodedata
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date
from typing import NamedTuple

COLUMNS = (
    "shipment", "seller", "service", "origin", "destination", "container", "roots", "heat_pack_hours", "ship_date",
    "arrival_date", "inside_temp_c", "genus", "cultivar", "sent", "healthy", "damaged", "dead",
    "heat_packs", "cold_packs", "seller_kind", "unit_cost", "sale_value", "currency",
    "recheck_date", "recheck_healthy", "recheck_damaged", "recheck_dead", "recheck_gone",
    "inside_min_c", "inside_max_c",
)  # fmt: skip
"""The columns of the file, in the order of an export."""

FAHRENHEIT_COLUMNS = {"inside_temp_f": "inside_temp_c", "inside_min_f": "inside_min_c", "inside_max_f": "inside_max_c"}
"""Columns that a file may have instead, and what they become; an export is in °C."""

FILE_COLUMNS = (*COLUMNS, *FAHRENHEIT_COLUMNS)
"""All columns that a file may have."""

REQUIRED_COLUMNS = COLUMNS[:17]
COUNT_COLUMNS = ("healthy", "damaged", "dead")
RECHECK_COLUMNS = ("recheck_healthy", "recheck_damaged", "recheck_dead", "recheck_gone")

Cell = str | int | float | date | None


class LineRecord(NamedTuple):
    """One kind of plant in a shipment; a count that is None is unknown, not zero. `sent` is None before arrival."""

    genus: str
    cultivar: str | None
    sent: int | None
    healthy: int | None
    damaged: int | None
    dead: int | None
    unit_cost: float | None = None
    sale_value: float | None = None
    recheck_healthy: int | None = None
    recheck_damaged: int | None = None
    recheck_dead: int | None = None
    recheck_gone: int | None = None

    @property
    def rechecked(self) -> bool:
        """Whether the plants were counted again about two weeks on."""
        return self.recheck_healthy is not None


class ShipmentRecord(NamedTuple):
    """One waybill and its lines; `shipment` is its reference, else its id. `arrival_date` is None before arrival.

    `inside_temp_c`, `inside_min_c` and `inside_max_c` are the mean and the extremes of a logger in the box, °C;
    `heat_pack_hours` is the rating of one pack.
    """

    shipment: str
    seller: str | None
    service: str
    origin: str
    destination: str
    container: str
    roots: str
    heat_pack_hours: float
    ship_date: date
    arrival_date: date | None
    inside_temp_c: float | None
    heat_packs: int
    cold_packs: int
    seller_kind: str | None
    currency: str | None
    recheck_date: date | None
    inside_min_c: float | None
    inside_max_c: float | None
    lines: tuple[LineRecord, ...]

    def rows(self) -> Iterator[tuple[Cell, ...]]:
        """Yield one row a line, its cells in the order of `COLUMNS`."""
        for line in self.lines:
            yield (
                *self[:11],
                *line[:6],
                self.heat_packs,
                self.cold_packs,
                self.seller_kind,
                line.unit_cost,
                line.sale_value,
                self.currency,
                self.recheck_date if line.rechecked else None,
                *line[8:],
                self.inside_min_c,
                self.inside_max_c,
            )


SHIPMENT_COLUMNS = tuple(name for name in ShipmentRecord._fields if name != "lines")
LINE_COLUMNS = LineRecord._fields

# What the fit reads of a box at unboxing; prices and rechecks can change without a fitted row having been wrong.
FITTED_COLUMNS = frozenset(COLUMNS[:19]) | {"seller_kind", "inside_min_c", "inside_max_c"}


def seller_key(name: str) -> str:
    """Return what names of one seller have in common: trimmed, NFC, case folded."""
    folded = unicodedata.normalize("NFC", name.strip()).casefold()
    return unicodedata.normalize("NFC", folded)


def differing_columns(one: ShipmentRecord, other: ShipmentRecord, columns: Sequence[str] = COLUMNS) -> list[str]:
    """Return those of `columns` in which two records of a shipment differ, whatever the order of their lines.

    The names of sellers are compared by `seller_key`. Where the rows differ only in how their cells are paired, all
    columns of the lines are returned.
    """
    rows, others = list(_comparable(one)), list(_comparable(other))
    if rows == others:
        return []
    places = [COLUMNS.index(name) for name in columns]
    if _multiset(rows, places) == _multiset(others, places):
        return []
    if len(rows) == len(others):
        # Where the lines are the same plants in the same order, they can be told apart cell by cell.
        names = [place for place in places if COLUMNS[place] in ("genus", "cultivar")]
        if [[row[p] for p in names] for row in rows] == [[row[p] for p in names] for row in others]:
            return [COLUMNS[p] for p in places if [row[p] for row in rows] != [row[p] for row in others]]
    apart = [COLUMNS[p] for p in places if _multiset(rows, [p]) != _multiset(others, [p])]
    return apart or [name for name in columns if name in LINE_COLUMNS]


def _comparable(record: ShipmentRecord) -> Iterator[tuple[Cell, ...]]:
    seller = None if record.seller is None else seller_key(record.seller)
    return record._replace(seller=seller).rows()


def _multiset(rows: Sequence[tuple[Cell, ...]], places: Sequence[int]) -> Counter[tuple[Cell, ...]]:
    return Counter(tuple(row[place] for place in places) for row in rows)
