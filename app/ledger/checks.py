"""What the cells of a ledger's CSV file must have in common: within a row, and over the rows of a shipment."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from operator import eq
from typing import Any

from app.doubts import dates_hint
from app.ledger.cells import FAULTY, Values
from app.ledger.csv_faults import CsvFaults
from app.records import COLUMNS, COUNT_COLUMNS, RECHECK_COLUMNS, SHIPMENT_COLUMNS, arrival_fault, seller_key
from app.schemas import LOGGER_SUMMARY, temperature_faults

Fault = tuple[str, str]
DATE_COLUMNS = ("ship_date", "arrival_date", "recheck_date")
AHEAD = "must not lie in the future: a row tells of a box that has arrived"
COUNTS_REMEDY = "give healthy, damaged and dead, or healthy alone (healthy or not), or dead alone (dead or alive)"


def check_rows(
    numbers: Sequence[int],
    columns: Mapping[str, Values],
    zones: Mapping[str, str],
    latest: date,
    faults: CsvFaults,
) -> None:
    """Note the faults between the cells of each row.

    `numbers` are those of the rows, `zones` those of the places; no date may be after `latest`, since a row tells of
    what has happened.
    """
    for column in DATE_COLUMNS:
        for number, day in zip(numbers, columns[column], strict=True):
            if isinstance(day, date) and day > latest:
                faults.add(number, column, AHEAD)
    _each(numbers, columns, ("sent", *COUNT_COLUMNS), _counts_faults, faults)
    _each(numbers, columns, ("sent", *COUNT_COLUMNS, "recheck_date", *RECHECK_COLUMNS), _recheck_faults, faults)
    _each(numbers, columns, ("arrival_date", "recheck_date"), _recheck_date_faults, faults)
    _each(numbers, columns, tuple(LOGGER_SUMMARY), temperature_faults, faults)

    # Few pairs of dates and places are distinct.
    known: dict[tuple[Any, ...], list[Fault]] = {}

    def dates_faults(*journey: Any) -> list[Fault]:
        if journey not in known:
            ship_date, arrival_date, origin, destination = journey
            message = arrival_fault(ship_date, arrival_date, zones[origin], zones[destination])
            known[journey] = (
                [] if message is None else [("arrival_date", message + dates_hint(ship_date, arrival_date))]
            )
        return known[journey]

    _each(numbers, columns, ("ship_date", "arrival_date", "origin", "destination"), dates_faults, faults)


def _each(
    numbers: Sequence[int], columns: Mapping[str, Values], names: Sequence[str], check: Any, faults: CsvFaults
) -> None:
    """Note what a check finds in the cells of these columns, row by row, passing over rows with a faulty one."""
    for number, *cells in zip(numbers, *(columns[name] for name in names), strict=True):
        if FAULTY not in cells:
            for column, message in check(*cells):
                faults.add(number, column, message)


def _counts_faults(sent: int, healthy: int | None, damaged: int | None, dead: int | None) -> Iterator[Fault]:
    counts = dict(zip(COUNT_COLUMNS, (healthy, damaged, dead), strict=True))
    given = [name for name, count in counts.items() if count is not None]
    if healthy is not None and damaged is not None and dead is not None:
        if healthy + damaged + dead != sent:
            yield "dead", "healthy, damaged and dead must add up to sent"
    elif given in (["healthy"], ["dead"]):
        if (healthy or dead or 0) > sent:
            yield given[0], "must be at most sent"
    elif not given:
        yield "healthy", f"is required: {COUNTS_REMEDY}"
    else:
        for name in counts:
            if name not in given:
                yield name, f"is required beside the other counts: {COUNTS_REMEDY}"


def _recheck_faults(
    sent: int, healthy: int | None, damaged: int | None, dead: int | None, day: date | None, *counts: int | None
) -> Iterator[Fault]:
    given = [count for count in counts if count is not None]
    if not given and day is None:
        return
    if len(given) < len(RECHECK_COLUMNS):
        for name, count in zip(RECHECK_COLUMNS, counts, strict=True):
            if count is None:
                yield name, "is required with the rest of a recheck: 0 where there are none"
    if day is None:
        yield "recheck_date", "is required with the rest of a recheck"
    if len(given) < len(RECHECK_COLUMNS):
        return
    if healthy is not None and damaged is not None:
        least = most = healthy + damaged
    elif dead is not None:
        least = most = sent - dead
    else:
        least, most = healthy or 0, sent
    if not least <= sum(given) <= most:
        alive = (
            "sent less dead" if healthy is None else "healthy and damaged" if damaged is not None else "healthy to sent"
        )
        yield (
            "recheck_dead",
            f"the recheck must add up to the plants alive at arrival ({alive}); gone is sold or given away",
        )


def _recheck_date_faults(arrival_date: date, day: date | None) -> Iterator[Fault]:
    if day is not None and day < arrival_date:
        yield "recheck_date", "must not be before arrival_date"


def check_shipments(numbers: Sequence[int], columns: Mapping[str, Values], faults: CsvFaults) -> None:
    """Note rows of one shipment that disagree about it, and rows that stand twice."""
    sellers = [seller_key(name) if isinstance(name, str) else name for name in columns["seller"]]
    compared = {**columns, "seller": sellers}
    names = compared["shipment"]
    firsts: dict[Any, int] = {}
    for i, name in enumerate(names):
        firsts.setdefault(name, i)
    first_of = [firsts[name] for name in names]
    for column in SHIPMENT_COLUMNS[1:]:
        values = compared[column]
        if all(map(eq, values, map(values.__getitem__, first_of))):
            continue
        first: dict[Any, tuple[int, Any]] = {}
        for number, name, value in zip(numbers, names, values, strict=True):
            # Lines that were not looked at again have no date of a recheck.
            if name is FAULTY or value is FAULTY or (column == "recheck_date" and value is None):
                continue
            row, said = first.setdefault(name, (number, value))
            if value != said:
                faults.add(number, column, f"must be the same in all rows of a shipment: row {row} has another value")
    seen: dict[tuple[Any, ...], int] = {}
    for number, cells in zip(numbers, zip(*(compared[name] for name in COLUMNS), strict=True), strict=True):
        if (row := seen.setdefault(cells, number)) != number and FAULTY not in cells:
            faults.add(number, "shipment", f"is the same as row {row}: delete one, or add their counts up in one row")
