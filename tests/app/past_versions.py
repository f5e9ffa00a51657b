"""What the ledger has kept of the versions of a shipment that were replaced."""

import json
from datetime import datetime
from typing import Any, NamedTuple

from sqlalchemy import Connection, select

from app.store.schema import shipment_history, shipments


class PastVersion(NamedTuple):
    """A version that was replaced: the rows that held it, by table, and why and when it was replaced."""

    revision: int
    reason: str
    replaced_at: datetime
    snapshot: dict[str, Any]


def past_versions(connection: Connection, shipment_id: str) -> list[PastVersion]:
    """Return the replaced versions of a shipment, the oldest first."""
    history = shipment_history.c
    query = select(history.revision, history.reason, history.replaced_at, history.snapshot_json)
    query = query.join(shipments).where(shipments.c.id == shipment_id).order_by(history.revision)
    return [PastVersion(*row[:3], json.loads(row[3])) for row in connection.execute(query)]
