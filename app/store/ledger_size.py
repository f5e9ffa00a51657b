"""How large a ledger is, for who looks after it: bytes, boxes by state, refits by how they went."""

from typing import NamedTuple

from sqlalchemy import Connection, Table, func, select, text

from app.store.schema import refits, shipments


class LedgerSize(NamedTuple):
    """Bytes of the whole database, and numbers of boxes and of refits by their state."""

    n_bytes: int
    boxes: dict[str, int]
    refits: dict[str, int]


_BYTES = {
    "sqlite": "SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()",
    "postgresql": "SELECT pg_database_size(current_database())",
}


def ledger_size(connection: Connection) -> LedgerSize:
    """Return how large the ledger is."""
    n_bytes = connection.execute(text(_BYTES[connection.dialect.name])).scalar_one()
    return LedgerSize(int(n_bytes), _by_state(connection, shipments), _by_state(connection, refits))


def _by_state(connection: Connection, table: Table) -> dict[str, int]:
    rows = connection.execute(select(table.c.state, func.count()).group_by(table.c.state))
    return {row[0]: row[1] for row in rows}
