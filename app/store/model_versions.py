"""Fitted versions of the model, each stored whole: manifest, arrays, and the revision of the ledger that it has seen.

At most one is active. Where none is, the model that speaks from the rules of thumb alone is; it is not stored.
"""

from datetime import datetime
from typing import NamedTuple

from sqlalchemy import Connection, insert, select, update

from app.store.schema import model_versions


class StoredVersion(NamedTuple):
    """A version without its arrays."""

    version: str
    manifest_json: str
    ledger_revision: int
    active: bool
    created_at: datetime


_COLUMNS = tuple(model_versions.c[name] for name in StoredVersion._fields)


def active_version(connection: Connection) -> str | None:
    """Return the name of the active version; None for the rules of thumb alone."""
    return connection.execute(select(model_versions.c.version).where(model_versions.c.active)).scalar_one_or_none()


def read_version(connection: Connection, version: str) -> tuple[StoredVersion, bytes] | None:
    """Return a version and its arrays, or None if there is none of this name."""
    query = select(*_COLUMNS, model_versions.c.arrays).where(model_versions.c.version == version)
    row = connection.execute(query).one_or_none()
    return None if row is None else (StoredVersion(*row[:-1]), row[-1])


def list_versions(connection: Connection) -> list[StoredVersion]:
    """Return all versions, the newest first."""
    query = select(*_COLUMNS).order_by(model_versions.c.created_at.desc(), model_versions.c.version.desc())
    return [StoredVersion(*row) for row in connection.execute(query)]


def add_version(connection: Connection, stored: StoredVersion, arrays: bytes) -> None:
    """Store a version, in a write transaction; it is active if it says so, and the one before no longer."""
    if stored.active:
        _deactivate(connection)
    connection.execute(insert(model_versions).values(arrays=arrays, **stored._asdict()))


def activate_version(connection: Connection, version: str | None) -> bool:
    """Make a version the active one, in a write transaction; None for the rules of thumb alone.

    Returns whether there is such a version; if not, nothing is changed.
    """
    if version is not None:
        known = select(model_versions.c.version).where(model_versions.c.version == version)
        if connection.execute(known).one_or_none() is None:
            return False
    _deactivate(connection)
    if version is not None:
        connection.execute(update(model_versions).where(model_versions.c.version == version).values(active=True))
    return True


def _deactivate(connection: Connection) -> None:
    connection.execute(update(model_versions).where(model_versions.c.active).values(active=False))
