"""What the ledger holds of sellers, read for people."""

from typing import NamedTuple

from sqlalchemy import Connection, select

from app.store.schema import sellers


class SellerRecord(NamedTuple):
    """A seller; `key` is what spellings of its name share."""

    key: str
    name: str
    kind: str | None
    country: str | None
    notes: str


_COLUMNS = tuple(sellers.c[name] for name in SellerRecord._fields)


def list_sellers(connection: Connection) -> list[SellerRecord]:
    """Return all sellers, by key."""
    # Sorted here: databases order texts by rules of their own.
    return sorted(SellerRecord(*row) for row in connection.execute(select(*_COLUMNS)))


def read_seller(connection: Connection, key: str) -> SellerRecord | None:
    """Return the seller of a key, or None."""
    row = connection.execute(select(*_COLUMNS).where(sellers.c.key == key)).one_or_none()
    return None if row is None else SellerRecord(*row)
