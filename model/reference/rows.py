"""Read the reference tables into typed rows; every row keeps its source and status."""

import csv
from collections.abc import Iterator
from dataclasses import fields
from functools import cache
from importlib import resources
from typing import Any, TypeVar, get_args

Row = TypeVar("Row")

# A range in a table or in an answer is the middle 80 %, told by its ends, often with the median.
LOW, HIGH = 0.1, 0.9
QUANTILES = (LOW, 0.5, HIGH)

# From the surest to the least sure. Published: the source states the value. Derived: worked out from published values,
# as the source of the row says. From memory: recalled, not read. Judgement: our own.
STATUSES = (
    "published",
    "derived",
    "common practice",
    "from memory, checked against published 1991-2020 normals",
    "from memory",
    "judgement",
)


class ReferenceTableError(ValueError):
    """A reference table has a cell that cannot be used; the message names file, line and column."""


TABLES = (
    "genera",
    "genus_names",
    "containers",
    "roots",
    "seller_kinds",
    "chill_classes",
    "services",
    "service_legs",
    "weather",
    "places",
    "rules",
    "late_loss_rules",
    "prior_scales",
    "costs",
    "constants",
)


@cache
def _text(table: str) -> str:
    return resources.files("model.reference").joinpath(f"{table}.csv").read_text(encoding="utf-8")


def tables_read() -> tuple[str, ...]:
    """Return the text of every table, in the order of `TABLES`."""
    return tuple(_text(table) for table in TABLES)


@cache
def read_rows(table: str) -> tuple[dict[str, str], ...]:
    """Return the rows of one table as text, in the order of the file."""
    return tuple(csv.DictReader(_text(table).splitlines()))


def typed_rows(table: str, row_type: type[Row]) -> Iterator[Row]:
    """Yield the rows of `table` as `row_type`, a frozen dataclass whose field names are the columns.

    Raises
    ------
    ReferenceTableError
        When a column is missing, a cell has the wrong type, a status is none of `STATUSES` or a source is empty.
    """
    columns = fields(row_type)  # type: ignore[arg-type]
    for line, row in enumerate(read_rows(table), start=2):
        values: dict[str, Any] = {}
        for column in columns:
            try:
                values[column.name] = convert(row[column.name], column.type)
            except (KeyError, ValueError) as error:
                raise ReferenceTableError(f"{table}.csv line {line}, column {column.name}: {error}") from error
        for name, value in values.items():
            if name.endswith("status") and value not in STATUSES:
                raise ReferenceTableError(f"{table}.csv line {line}, column {name}: not one of {', '.join(STATUSES)}")
            if name.endswith("source") and not value:
                raise ReferenceTableError(f"{table}.csv line {line}, column {name}: is empty")
        yield row_type(**values)


def convert(cell: str, kind: Any) -> object:
    """Return a cell as its column's type; ValueError when it is none."""
    if kind is float:
        return float(cell)
    if kind is int:
        return int(cell)
    if kind is bool:
        if cell not in {"yes", "no"}:
            raise ValueError("must be yes or no")
        return cell == "yes"
    if float in get_args(kind):
        return float(cell) if cell else None
    return cell
