"""API keys: of each the hash of its secret, never the secret. Rows of revoked keys stay, so that a ledger that has had
keys does not open up when the last one is revoked.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Literal, NamedTuple

from sqlalchemy import Connection, delete, insert, or_, select, update

from app.store.schema import api_keys

Scope = Literal["read", "write"]


class StoredKey(NamedTuple):
    """A key; `id` is shown in the key itself, and `secret_sha256` is in hexadecimal digits."""

    id: str
    name: str
    scope: Scope
    secret_sha256: str
    created_at: datetime
    revoked_at: datetime | None
    expires_at: datetime | None = None
    last_used_at: datetime | None = None

    def has_expired(self, now: datetime) -> bool:
        """Whether its time is over."""
        return self.expires_at is not None and self.expires_at <= now


_COLUMNS = tuple(api_keys.c[name] for name in StoredKey._fields)


def add_key(connection: Connection, key: StoredKey) -> None:
    """Store a key, in a write transaction."""
    connection.execute(insert(api_keys).values(**key._asdict()))


def list_keys(connection: Connection) -> list[StoredKey]:
    """Return all keys, the oldest first, revoked ones included."""
    query = select(*_COLUMNS).order_by(api_keys.c.created_at, api_keys.c.id)
    return [StoredKey(*row) for row in connection.execute(query)]


def revoke_key(connection: Connection, key_id: str, *, now: datetime) -> StoredKey | None:
    """Revoke a key, in a write transaction, and return it as it was before; None if there is none with this id."""
    row = connection.execute(select(*_COLUMNS).where(api_keys.c.id == key_id)).one_or_none()
    if row is not None and row.revoked_at is None:
        connection.execute(update(api_keys).where(api_keys.c.id == key_id).values(revoked_at=now))
    return None if row is None else StoredKey(*row)


def note_uses(connection: Connection, uses: Mapping[str, datetime]) -> None:
    """Note when keys were last used, by id, in a write transaction; what another process has seen later stays."""
    for key_id, at in uses.items():
        earlier = or_(api_keys.c.last_used_at.is_(None), api_keys.c.last_used_at < at)
        connection.execute(update(api_keys).where(api_keys.c.id == key_id, earlier).values(last_used_at=at))


def forget_keys(connection: Connection) -> int:
    """Delete all keys, in a write transaction, and return how many there were."""
    return connection.execute(delete(api_keys)).rowcount
