"""Taking a CSV file into the ledger, all or nothing."""

from datetime import datetime

from app.ledger.csv_faults import csv_fault
from app.ledger.csv_file import parse_ledger
from app.problems import MAX_CELL_ERRORS, Conflict
from app.records import differing_columns
from app.schemas import ImportAnswer
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
    file = parse_ledger(data, reference)
    with database.writing() as connection:
        recorded = find_shipments(connection, [shipment.record.shipment for shipment in file.shipments])
        new, changed, faults = [], [], []
        for record, row in file.shipments:
            stored = recorded.get(record.shipment)
            if stored is None:
                new.append(record)
                continue
            differing = differing_columns(stored.record, record, file.columns)
            if differing or stored.state != ARRIVED:
                changed.append((stored, record))
                said = f"differs from the ledger in {', '.join(differing)}" if differing else "has not arrived yet"
                faults.append(csv_fault(row, "shipment", f"{said}: {REMEDY}"))
        if changed and not replace:
            subject = "One shipment differs" if len(changed) == 1 else f"{len(changed):,} shipments differ"
            raise Conflict(f"{subject} from the ledger. Nothing was imported.", faults[:MAX_CELL_ERRORS])
        add_arrived(connection, new, now=now)
        replace_arrived(connection, changed, reason="import", now=now)
    n_unchanged = len(file.shipments) - len(new) - len(changed)
    return ImportAnswer(added=len(new), unchanged=n_unchanged, replaced=len(changed), lines=file.n_rows)
