"""Keys under which a call was made, so that the same call made again is answered again and not done again.

A key is reserved before its call is run and completed in the transaction that does what the call asks. A reservation
that was never completed (its process died) lapses.
"""

import json
from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import ColumnElement, Connection, delete, insert, select, update

from app.store.replies import Reply
from app.store.schema import idempotency_keys

KEPT_FOR = timedelta(days=7)
LAPSES = timedelta(minutes=10)


class KeyUse(NamedTuple):
    """An earlier use of a key; no reply while the call runs."""

    body_sha256: str
    reply: Reply | None


def reserve_key(connection: Connection, key: str, body_sha256: str, *, now: datetime) -> KeyUse | None:
    """Reserve a key, in a write transaction; an earlier use is returned instead. Expired keys are removed."""
    of = idempotency_keys.c
    connection.execute(delete(idempotency_keys).where(of.created_at < now - KEPT_FOR))
    connection.execute(delete(idempotency_keys).where(of.status.is_(None), of.created_at < now - LAPSES))
    row = connection.execute(select(idempotency_keys).where(of.key == key)).one_or_none()
    if row is None:
        connection.execute(insert(idempotency_keys).values(key=key, body_sha256=body_sha256, created_at=now))
        return None
    reply = None if row.status is None else Reply(row.status, json.loads(row.headers_json), row.answer)
    return KeyUse(row.body_sha256, reply)


def complete_key(connection: Connection, key: str, reply: Reply, *, reserved_at: datetime) -> bool:
    """Keep the reply of a call, in the transaction of what it does; False if its reservation has lapsed."""
    values = {"status": reply.status, "headers_json": json.dumps(reply.headers), "answer": reply.body}
    kept = connection.execute(update(idempotency_keys).where(*_reservation(key, reserved_at)).values(values))
    return kept.rowcount == 1


def release_key(connection: Connection, key: str, *, reserved_at: datetime) -> None:
    """Give up the reservation of a call that did nothing."""
    connection.execute(delete(idempotency_keys).where(*_reservation(key, reserved_at)))


def _reservation(key: str, reserved_at: datetime) -> tuple[ColumnElement[bool], ...]:
    of = idempotency_keys.c
    return of.key == key, of.status.is_(None), of.created_at == reserved_at
