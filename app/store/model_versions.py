"""Fitted versions of the model, each stored whole: manifest, arrays, and the revision of the ledger that it has seen.

At most one is active. Where none is, the model that speaks from the rules of thumb alone is; it is not stored. One that
was gone back to by hand is held: what refits that nobody asked for store meanwhile waits.
"""

from datetime import UTC, datetime
from typing import Any, NamedTuple

from sqlalchemy import Connection, func, insert, select, update
from sqlalchemy.exc import OperationalError

from app.store.refits import ACTIVATED
from app.store.schema import ledger, model_versions, refits

NEVER = datetime(1970, 1, 1, tzinfo=UTC)
# What the driver of SQLite says of a text that is none.
NOT_UTF8 = "Could not decode to UTF-8"


class StoredVersion(NamedTuple):
    """A version without its arrays; `passed` says that the gate let it pass, whether it was activated or waits."""

    version: str
    manifest_json: str
    ledger_revision: int
    active: bool
    created_at: datetime
    passed: bool | None = None


class Hold(NamedTuple):
    """That a version was gone back to by hand: when, its name (None: the rules of thumb), and the newer that wait.

    Those are versions that the gate let pass, the newest first.
    """

    at: datetime
    version: str | None
    waiting: list[str]


class DamagedVersion(Exception):  # noqa: N818 - what is wrong, in words, for the caller to tell
    """A version whose row cannot be read as it was written; the text says why."""


_COLUMNS = tuple(model_versions.c[name] for name in StoredVersion._fields)


def active_version(connection: Connection) -> str | None:
    """Return the name of the active version; None for the rules of thumb alone."""
    return connection.execute(select(model_versions.c.version).where(model_versions.c.active)).scalar_one_or_none()


def read_version(connection: Connection, version: str) -> tuple[StoredVersion, bytes] | None:
    """Return a version and its arrays, or None if there is none of this name.

    Raises
    ------
    DamagedVersion
        If its row holds what is no time, no text or no arrays: SQLite keeps whatever it is given.
    """
    row = _read_row(connection, version, *_COLUMNS, model_versions.c.arrays)
    if row is None:
        return None
    if not isinstance(row[-1], bytes):
        raise DamagedVersion("its arrays are not bytes")
    return StoredVersion(*row[:-1]), row[-1]


def list_versions(connection: Connection) -> list[StoredVersion]:
    """Return all versions, the newest first; of one whose row is damaged the manifest is empty, its time the first."""
    of = model_versions.c
    names = connection.execute(select(of.version, of.active).order_by(of.created_at.desc(), of.version.desc())).all()
    found = []
    for name, active in names:
        try:
            row = _read_row(connection, name, *_COLUMNS)
        except DamagedVersion:
            found.append(StoredVersion(name, "", 0, active, NEVER))
        else:
            found.extend([] if row is None else [StoredVersion(*row)])
    return found


def versions_once_active(connection: Connection) -> list[str]:
    """Return the names of the versions that a refit has activated, the newest first."""
    once = select(refits.c.version).where(refits.c.state == ACTIVATED).order_by(refits.c.finished_at.desc())
    return [name for (name,) in connection.execute(once) if name is not None]


def _read_row(connection: Connection, version: str, *columns: Any) -> tuple[Any, ...] | None:
    query = select(*columns).where(model_versions.c.version == version)
    try:
        row = connection.execute(query).one_or_none()
    except (ValueError, TypeError) as error:
        raise DamagedVersion(f"its row cannot be read: {error}") from error
    except OperationalError as error:
        if NOT_UTF8 not in str(error.orig):
            raise
        raise DamagedVersion("its manifest is no text in UTF-8") from error
    return None if row is None else tuple(row)


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


def choose_version(connection: Connection, version: str | None, *, now: datetime) -> bool:
    """Activate a version by hand as `activate_version`; where newer ones wait it is held, else nothing is any more."""
    if not activate_version(connection, version):
        return False
    _hold(connection, now if _waiting(connection) else None)
    return True


def read_hold(connection: Connection) -> Hold | None:
    """Return what was gone back to by hand, None where nothing is held."""
    at = connection.execute(select(ledger.c.held_at)).scalar_one()
    return None if at is None else Hold(at, active_version(connection), _waiting(connection))


def end_hold(connection: Connection) -> None:
    """Let refits activate what they store again, in a write transaction; what is active stays for now."""
    _hold(connection, None)


def _hold(connection: Connection, at: datetime | None) -> None:
    connection.execute(update(ledger).values(held_at=at))


def _waiting(connection: Connection) -> list[str]:
    """Return the versions that the gate let pass and that are newer than the active one, the newest first."""
    of = model_versions.c
    newer = of.created_at > func.coalesce(select(of.created_at).where(of.active).scalar_subquery(), NEVER)
    query = select(of.version).where(of.passed, newer).order_by(of.created_at.desc(), of.version.desc())
    return list(connection.execute(query).scalars())


def _deactivate(connection: Connection) -> None:
    connection.execute(update(model_versions).where(model_versions.c.active).values(active=False))
