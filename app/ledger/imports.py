"""Taking a CSV file into the ledger, all or nothing."""

from datetime import datetime
from typing import NamedTuple

from app.doubts import check_shipments, doubtful_records
from app.ledger.csv_cells import DateOrder
from app.ledger.csv_faults import csv_fault
from app.ledger.csv_file import FileShipment, LedgerFile, parse_ledger
from app.problems import MAX_CELL_ERRORS, Conflict
from app.records import ShipmentRecord, differing_columns
from app.schemas import ImportAnswer
from app.serving import Engine
from app.store import ARRIVED, Database, add_arrived, find_shipments, replace_arrived
from model.reference import Reference

REMEDY = "import with replace=true (--replace) to replace it; its history is kept"


def import_csv(data: bytes, database: Database, reference: Reference, *, replace: bool, now: datetime) -> ImportAnswer:
    """Import a CSV file, which is recorded as done `now`, and return what was done.

    A shipment of the ledger is unchanged where it has arrived and has the same rows, in any order, in the columns that
    the file has. Otherwise it is replaced whole, columns that the file lacks included.

    Raises
    ------
    InvalidCells
        If a cell is not as it should be; nothing is imported.
    Conflict
        If a shipment differs from the ledger and is not to be replaced; nothing is imported.
    StoreUnavailable
        If the database cannot be used.
    """
    return _take(parse_ledger(data, reference, now=now), database, replace=replace, now=now).answer


def import_checked(
    data: bytes, database: Database, engine: Engine, *, replace: bool, now: datetime, dates: DateOrder | None = None
) -> ImportAnswer:
    """Import a CSV file as `import_csv` does, look at what is new in it, and tell which of its rows look wrong.

    `dates` as in `parse_ledger`.

    Raises
    ------
    InvalidCells, Conflict, StoreUnavailable
        As `import_csv`.
    """
    file = parse_ledger(data, engine.reference, now=now, dates=dates)
    taken = _take(file, database, replace=replace, now=now)
    with database.reading() as connection:
        stored = find_shipments(connection, [shipment.record.shipment for shipment in file.shipments])
    new = [stored[name].number for name in taken.changed if name in stored]
    unchecked = check_shipments(database, engine, new, now=now) if new else 0
    rows = {shipment.record.shipment: shipment for shipment in file.shipments}
    told = [
        doubt.model_copy(update={"row": _row(rows[doubt.shipment], stored[doubt.shipment].record, doubt.line)})
        for doubt in doubtful_records(database, [one.number for one in stored.values()])
    ]
    told.sort(key=lambda doubt: doubt.row or 0)
    return taken.answer.model_copy(update={"doubtful": told, "unchecked": unchecked})


def _row(shipment: FileShipment, stored: ShipmentRecord, line: int | None) -> int:
    """Return the row of a file that a line of the ledger stands in, whatever the order of the file's rows."""
    if line is None:
        return shipment.rows[0]
    same = [row for row, own in zip(shipment.rows, shipment.record.lines, strict=True) if own == stored.lines[line]]
    return same[0] if same else shipment.rows[min(line, len(shipment.rows) - 1)]


class _Taken(NamedTuple):
    """What was done, and the names of the shipments that were added or replaced."""

    answer: ImportAnswer
    changed: list[str]


def _take(file: LedgerFile, database: Database, *, replace: bool, now: datetime) -> _Taken:
    with database.writing() as connection:
        recorded = find_shipments(connection, [shipment.record.shipment for shipment in file.shipments])
        new, changed, faults = [], [], []
        for record, rows in file.shipments:
            stored = recorded.get(record.shipment)
            if stored is None:
                new.append(record)
                continue
            differing = differing_columns(stored.record, record, file.columns)
            if differing or stored.state != ARRIVED:
                changed.append((stored, record))
                said = f"differs from the ledger in {', '.join(differing)}" if differing else "has not arrived yet"
                faults.append(csv_fault(rows[0], "shipment", f"{said}: {REMEDY}"))
        if changed and not replace:
            subject = "One shipment differs" if len(changed) == 1 else f"{len(changed):,} shipments differ"
            raise Conflict(f"{subject} from the ledger. Nothing was imported.", faults[:MAX_CELL_ERRORS])
        add_arrived(connection, new, now=now)
        replace_arrived(connection, changed, reason="import", now=now)
    n_unchanged = len(file.shipments) - len(new) - len(changed)
    answer = ImportAnswer(added=len(new), unchanged=n_unchanged, replaced=len(changed), lines=file.n_rows)
    return _Taken(answer, [record.shipment for record in (*new, *(record for _, record in changed))])
