"""Sellers by the key that spellings of their name share."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlalchemy import Connection, insert, select

from app.store.chunks import chunks
from app.store.schema import sellers


def ensure_sellers(connection: Connection, wanted: Mapping[str, tuple[str, str | None]], now: datetime) -> None:
    """Add the sellers that are not recorded yet, in a write transaction.

    `wanted` gives for the key of each its name as written and its kind. A seller on record keeps its name and kind.
    """
    keys = list(wanted)
    known = {key for part in chunks(keys) for key in _known(connection, part)}
    new = [
        {"key": key, "name": name, "kind": kind, "revision": 1, "created_at": now, "updated_at": now}
        for key, (name, kind) in wanted.items()
        if key not in known
    ]
    if new:
        connection.execute(insert(sellers), new)


def _known(connection: Connection, keys: Sequence[str]) -> Sequence[str]:
    return connection.execute(select(sellers.c.key).where(sellers.c.key.in_(keys))).scalars().all()
