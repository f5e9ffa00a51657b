"""What is counted over the whole ledger: its changes and its shipments."""

from sqlalchemy import Connection, select, update

from app.store.schema import ledger


def ledger_revision(connection: Connection) -> int:
    """Return the number of changes of the ledger so far."""
    revision: int = connection.execute(select(ledger.c.revision)).scalar_one()
    return revision


def next_revision(connection: Connection) -> int:
    """Count one change of the ledger, in a write transaction, and return its number."""
    change = update(ledger).values(revision=ledger.c.revision + 1).returning(ledger.c.revision)
    revision: int = connection.execute(change).scalar_one()
    return revision


def reserve_numbers(connection: Connection, n: int) -> range:
    """Return `n` numbers for new shipments, in a write transaction; none is ever given twice."""
    change = update(ledger).values(last_number=ledger.c.last_number + n).returning(ledger.c.last_number)
    last: int = connection.execute(change).scalar_one()
    return range(last - n + 1, last + 1)
