"""What the ledger holds of sellers, read and written for people."""

from datetime import datetime
from hashlib import sha256
from typing import NamedTuple

from sqlalchemy import Connection, insert, select, update

from app.store.revisions import next_revision
from app.store.schema import sellers, shipments
from app.store.shipments import ARRIVED


class SellerDetails(NamedTuple):
    """What can be recorded of a seller; `packing_json` and `answers_json` are JSON objects, None where all is open."""

    name: str
    kind: str | None = None
    country: str | None = None
    notes: str = ""
    recourse: str | None = None
    packing_json: str | None = None
    answers_json: str | None = None


class SellerRecord(NamedTuple):
    """A seller; `key` is what spellings of its name share, `revision` counts its versions."""

    key: str
    revision: int
    details: SellerDetails

    @property
    def etag(self) -> str:
        """The strong ETag of this version of what is recorded, quotation marks included."""
        return f'"{sha256(self.key.encode()).hexdigest()[:16]}-{self.revision}"'


_DETAILS = tuple(sellers.c[name] for name in SellerDetails._fields)
_COLUMNS = (sellers.c.key, sellers.c.revision, *_DETAILS)


def list_sellers(connection: Connection) -> list[SellerRecord]:
    """Return all sellers, by key."""
    rows = connection.execute(select(*_COLUMNS))
    # Sorted here: databases order texts by rules of their own.
    return sorted(SellerRecord(key, revision, SellerDetails(*details)) for key, revision, *details in rows)


def read_seller(connection: Connection, key: str) -> SellerRecord | None:
    """Return the seller of a key, or None."""
    row = connection.execute(select(*_COLUMNS).where(sellers.c.key == key)).one_or_none()
    return None if row is None else SellerRecord(row[0], row[1], SellerDetails(*row[2:]))


def add_seller(connection: Connection, key: str, details: SellerDetails, *, now: datetime) -> SellerRecord:
    """Record a seller that is not in the ledger, in a write transaction."""
    connection.execute(insert(sellers).values(key=key, revision=1, created_at=now, updated_at=now, **details._asdict()))
    return SellerRecord(key, 1, details)


def change_seller(
    connection: Connection, before: SellerRecord, details: SellerDetails, *, now: datetime
) -> SellerRecord:
    """Replace what is recorded of a seller, in a write transaction; the same as before is no new version."""
    if details == before.details:
        return before
    revision = before.revision + 1
    connection.execute(
        update(sellers)
        .where(sellers.c.key == before.key)
        .values(revision=revision, updated_at=now, **details._asdict())
    )
    if details.kind != before.details.kind:
        _mark_corrected(connection, before.key)
    return SellerRecord(before.key, revision, details)


def _mark_corrected(connection: Connection, key: str) -> None:
    """Note that a fit reads other rows now: a box without a kind of its own has that of its seller."""
    its = (shipments.c.seller == key) & shipments.c.seller_kind.is_(None) & (shipments.c.state == ARRIVED)
    if connection.execute(select(shipments.c.number).where(its).limit(1)).one_or_none() is not None:
        connection.execute(update(shipments).where(its).values(corrected_revision=next_revision(connection)))
