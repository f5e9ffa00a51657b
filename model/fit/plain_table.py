"""A plain table of lines, as anyone can write it down, -> the table of lines that is fitted."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from model.exposure import Array, binned_rates, constant_log_days, log_days, trace_bins
from model.fit.likelihood import COUNT_ERROR
from model.fit.lines import LINE_DTYPE, Lines
from model.predict import tabulated_cold
from model.reference import COLDEST_C, REFERENCE_CONTAINER, REFERENCE_ROOTS, WARMEST_C, Genus, Reference

# One mapping a line, or one mapping of equally long columns.
PlainTable = Sequence[Mapping[str, Any]] | Mapping[str, Sequence[Any]]
# (lines, 4); None or NaN where unknown.
PlainCounts = ArrayLike | Sequence[Sequence[float | None]]

NEEDED = ("shipment", "genus", "days", "inside_c")
OPTIONAL = ("cultivar", "container", "roots", "service", "seller_kind", "seller", "ship_date", "consignment")
COUNTS = ("healthy", "damaged", "dead", "sent")


class TableError(ValueError):
    """A plain table cannot be read; the message names the row, counted from 0, the column, and what would be right."""


def tabulate_lines(table: PlainTable, reference: Reference) -> Lines:
    """Return the lines of a plain table, rows as they stand.

    Parameters
    ----------
    table : sequence of mappings, or mapping of columns
        A row a line of plants of one kind in one box:

        * shipment: name of the box; lines with the same name travelled together;
        * genus: accepted or old name; None, or a name that the tables do not have, is any genus of the trade;
        * days: closing to opening of the box, above 0;
        * inside_c: °C in the box, a number where it was constant, or a trace of (hours, °C) pairs, hours ascending;
          the trace is stretched to the days;
        * cultivar, seller, seller_kind, service: may be left out or None where not known;
        * container, roots: codes of the tables; foam box and damp wrap unless given;
        * ship_date: a date or ISO text; needed only to follow a seller from quarter to quarter;
        * consignment: a name that boxes share which one seller packed on one day; None where not known.
    reference : Reference

    Raises
    ------
    TableError
        For a column that is missing or not known, or a value that cannot be read.
    """
    rows = _rows(table)
    codes = {
        "container": reference.containers,
        "roots": reference.roots,
        "service": reference.services,
        "seller_kind": reference.seller_kinds,
    }
    lines = np.empty(len(rows), dtype=LINE_DTYPE)
    for i, row in enumerate(rows):
        line = lines[i]
        genus = _genus(i, row["genus"], reference)
        line["shipment"] = str(_given(i, row, "shipment"))
        line["genus"] = genus.genus if genus else row["genus"]
        line["cultivar"], line["seller"] = row.get("cultivar") or None, row.get("seller") or None
        line["container"], line["roots"] = REFERENCE_CONTAINER, REFERENCE_ROOTS
        line["service"] = line["seller_kind"] = None
        for column, known in codes.items():
            if (code := row.get(column)) is not None:
                line[column] = _code(i, column, code, known)
        line["quarter"], line["consignment"] = _quarter(i, row.get("ship_date")), row.get("consignment") or None
        line["log_days"], line["log_days_variance"] = _exposure(i, row, genus, reference), 0.0
    return lines


def read_counts(counts: PlainCounts, n_rows: int) -> Array:
    """Return the counts of a plain table as numbers, (lines, 4): healthy, damaged, dead, sent; NaN where unknown.

    Parameters
    ----------
    counts : (lines, 4)
        None or NaN where unknown.
    n_rows : int
        Rows of the table.

    Raises
    ------
    TableError
        For counts that cannot be read, or cannot be.
    """
    cells = np.asarray(counts, dtype=object)
    if cells.shape != (n_rows, len(COUNTS)):
        raise TableError(f"counts have the shape {cells.shape}: give {', '.join(COUNTS)} for each of the {n_rows} rows")
    numbers = np.array([[_count(i, *cell) for cell in zip(COUNTS, row, strict=True)] for i, row in enumerate(cells)])
    for i, (healthy, damaged, dead, sent) in enumerate(numbers.tolist()):
        unknown = np.isnan([healthy, damaged, dead])
        if unknown[0] and unknown[2]:
            raise TableError(f"row {i}, columns healthy and dead: neither is known; give one of them, or all three")
        if unknown.tolist() == [False, True, False]:
            raise _fault(i, "damaged", damaged, "give it too where healthy and dead are known")
        known = float(np.nansum([healthy, damaged, dead]))
        if known > sent + COUNT_ERROR or (not unknown.any() and known < sent - COUNT_ERROR):
            raise TableError(
                f"row {i}, column sent: {sent:g}, but {known:g} were counted; "
                "healthy, damaged and dead must add up to it, NaN where not counted"
            )
    return numbers


def _count(i: int, column: str, value: object) -> float:
    unknown = column != "sent"
    if value is None and unknown:
        return np.nan
    remedy = "give a number of plants, 0 or more" + (", or NaN" if unknown else "")
    try:
        count = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise _fault(i, column, value, remedy) from None
    if not (0.0 <= count < np.inf or (np.isnan(count) and unknown)):
        raise _fault(i, column, count, remedy)
    return count


def _rows(table: PlainTable) -> list[dict[str, Any]]:
    """Return the rows; every one has the columns that are needed."""
    if isinstance(table, Mapping):
        sizes = {column: len(values) for column, values in table.items()}
        if len(set(sizes.values())) > 1:
            raise TableError(f"columns are not equally long: {', '.join(f'{c} {n}' for c, n in sizes.items())}")
        rows = [dict(zip(table, values, strict=True)) for values in zip(*table.values(), strict=True)]
    else:
        try:
            rows = [dict(row) for row in table]
        except (TypeError, ValueError):
            raise TableError(
                f"the table is {type(table).__name__}, whose rows have no columns: give a mapping for each row"
            ) from None
    if not rows:
        raise TableError("the table has no rows: give one for each line of each box")
    for i, row in enumerate(rows):
        for column in NEEDED:
            if column not in row:
                raise TableError(f"row {i}, column {column}: it is missing; needed are {', '.join(NEEDED)}")
        for column in row:
            if column not in (*NEEDED, *OPTIONAL):
                allowed = ", ".join((*NEEDED, *OPTIONAL))
                raise TableError(f"row {i}, column {column}: it is not known; leave it out, columns are {allowed}")
    return rows


def _fault(row: int, column: str, value: object, remedy: str) -> TableError:
    return TableError(f"row {row}, column {column}: {value!r}; {remedy}")


def _given(i: int, row: Mapping[str, Any], column: str) -> object:
    value = row[column]
    if value is None or value == "":
        raise _fault(i, column, value, "give every line the name of its box")
    return value


def _genus(i: int, name: object, reference: Reference) -> Genus | None:
    if name is None:
        return None
    if not isinstance(name, str):
        raise _fault(i, "genus", name, "give a name, or None where it is not known")
    return reference.find_genus(name)[0]


def _code(i: int, column: str, code: object, known: Iterable[str]) -> str:
    codes = sorted(known)
    if code not in codes:
        raise _fault(i, column, code, f"give one of {', '.join(codes)}, or leave it out")
    return str(code)


def _quarter(i: int, day: object) -> int:
    """Return 4 x year + quarter; -1 where no date is known."""
    if day is None:
        return -1
    try:
        found = day if isinstance(day, date) else date.fromisoformat(str(day))
    except ValueError:
        raise _fault(i, "ship_date", day, "give a date as YYYY-MM-DD, or leave it out") from None
    return 4 * found.year + (found.month - 1) // 3


def _number(i: int, column: str, value: object, low: float, high: float, remedy: str) -> float:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise _fault(i, column, value, remedy) from None
    if not low <= number <= high:
        raise _fault(i, column, value, remedy)
    return number


def _exposure(i: int, row: Mapping[str, Any], genus: Genus | None, reference: Reference) -> Array:
    """Return log equivalent days at the tabulated points, (Q10_NODES, CHILL_NODES)."""
    days = _number(i, "days", row["days"], np.nextafter(0.0, 1.0), 1e4, "give days from closing to opening, above 0")
    threshold_c, sensitivity = tabulated_cold(genus, reference)
    inside = row["inside_c"]
    if isinstance(inside, str) or not isinstance(inside, Sequence | np.ndarray):
        inside_c = _number(
            i, "inside_c", inside, COLDEST_C, WARMEST_C, "give °C in the box, or a trace of (hours, °C) pairs"
        )
        one: Array = constant_log_days(*(np.array([x]) for x in (inside_c, days, threshold_c, sensitivity)))[0]
        return one
    hours, temperature_c = _trace(i, inside)
    rates = binned_rates(threshold_c, sensitivity)
    return log_days(trace_bins(hours, temperature_c, days), rates, days, dates_only=False)[0]


def _trace(i: int, inside: Sequence[Any] | np.ndarray) -> tuple[Array, Array]:
    remedy = f"give a trace as pairs of ascending hours and °C between {COLDEST_C:g} and {WARMEST_C:g}"
    try:
        readings = np.asarray(inside, dtype=float)
    except (TypeError, ValueError):
        raise _fault(i, "inside_c", inside, remedy) from None
    if readings.ndim != 2 or readings.shape[1] != 2 or not len(readings):  # noqa: PLR2004 - pairs
        raise _fault(i, "inside_c", inside, remedy)
    hours, temperature_c = readings.T
    for k, (hour, reading) in enumerate(readings.tolist()):
        ascends = k == 0 or hour > hours[k - 1]
        if not (np.isfinite(hour) and ascends and COLDEST_C <= reading <= WARMEST_C):
            raise _fault(i, "inside_c", (hour, reading), f"{remedy}; reading {k} is not")
    return hours, temperature_c
