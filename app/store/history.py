"""Versions of shipments that were replaced, each as one JSON text: kept for whoever opens the ledger, not answered."""

import json
from collections import defaultdict
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, insert, select

from app.store.schema import events, lines, logger_readings, shipment_history, shipments


def keep_versions(connection: Connection, numbers: Sequence[int], *, reason: str, now: datetime) -> None:
    """Keep the present versions of shipments, in a write transaction, before they are changed."""
    parts: defaultdict[int, dict[str, list[Any]]] = defaultdict(dict)
    for table in (lines, events, logger_readings):
        for row in connection.execute(select(table).where(table.c.shipment.in_(numbers)).order_by(*table.primary_key)):
            cells = dict(row._mapping)
            parts[cells.pop("shipment")].setdefault(table.name, []).append(cells)
    kept = [
        {
            "shipment": row.number,
            "revision": row.revision,
            "reason": reason,
            "snapshot_json": json.dumps({"shipment": dict(row._mapping), **parts[row.number]}, default=_iso),
            "replaced_at": now,
        }
        for row in connection.execute(select(shipments).where(shipments.c.number.in_(numbers)))
    ]
    if kept:
        connection.execute(insert(shipment_history), kept)


def _iso(value: object) -> str:
    assert isinstance(value, date)  # noqa: S101 - a datetime is one; the tables hold no other such value
    return value.isoformat()
