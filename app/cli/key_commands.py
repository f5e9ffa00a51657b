"""``python -m app key``: keys are made, listed and revoked here, by whoever can reach the ledger itself."""

from datetime import datetime, timedelta

from app.clock import moment
from app.http import new_key
from app.problems import NotFound, Problem
from app.settings import Settings, is_loopback
from app.store import Database, Scope, StoredKey, add_key, forget_keys, list_keys, revoke_key

USUAL_DAYS = 365
NO_KEYS = "There are no keys: the server answers this computer only, and asks for none."


class NoKey(Problem):
    """A server that others can reach needs a key."""

    status = 409
    code = "conflict"
    title = "No key"


def check_keys(settings: Settings) -> None:
    """Refuse an address that other computers can reach while no key is valid.

    Raises
    ------
    NoKey
        If there is none.
    StoreUnavailable
        If the database cannot be used.
    """
    now = moment(settings.now)
    if not is_loopback(settings.host) and not any(_is_valid(key, now) for key in _stored(settings)):
        raise NoKey(
            f"host {settings.host}: must be a loopback address (127.0.0.1, ::1 or localhost) while there are no keys "
            "in force; make one first with: python -m app key new --name NAME --scope write"
        )


def make_key(settings: Settings, name: str, scope: Scope, days: int | None = USUAL_DAYS) -> str:
    """Make a key that expires after so many days, None: never, and return the text that shows it, this once.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    lifetime = None if days is None else timedelta(days=days)
    key, stored = new_key(name, scope, now=moment(settings.now), lifetime=lifetime)
    with Database(settings.database_url) as database, database.writing() as connection:
        add_key(connection, stored)
    return (
        f"{key}\n"
        f"Key {stored.id} for {name!r} may {_MAY[scope]}. It expires: {_day(stored.expires_at, 'never')}. "
        "It is shown this once: keep it safe.\n"
        "It is sent as the header  Authorization: Bearer KEY. From now on every call of /v1 needs a key."
    )


def listed_keys(settings: Settings) -> str:
    """Return all keys as text; secrets are not kept, so they cannot be shown."""
    stored = _stored(settings)
    if not stored:
        return NO_KEYS
    rows = [("id", "scope", "made", "expires", "last used", "revoked", "name"), *map(_row, stored)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    text = "\n".join("  ".join(f"{cell:{w}}" for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows)
    now = moment(settings.now)
    if not any(_is_valid(key, now) for key in stored):
        text += "\nNo key is valid, so every call of /v1 is refused: make a new one, or clear them all."
    return text


def revoke(settings: Settings, key_id: str) -> str:
    """Revoke a key and say so; one that was revoked before stays so.

    Raises
    ------
    NotFound
        If there is none with this id.
    StoreUnavailable
        If the database cannot be used.
    """
    before = None
    with Database(settings.database_url) as database:
        if not database.absent:
            with database.writing() as connection:
                before = revoke_key(connection, key_id, now=moment(settings.now))
    if before is None:
        raise NotFound(f"There is no key with the id {key_id}: see python -m app key list.")
    if before.revoked_at is not None:
        return f"Key {before.id} for {before.name!r} was revoked already, on {before.revoked_at:%Y-%m-%d %H:%M} UTC."
    return f"Key {before.id} for {before.name!r} is revoked; a server that runs refuses it within a second or two."


def clear(settings: Settings) -> str:
    """Forget all keys, so that a server on this computer asks for none again, and say so."""
    with Database(settings.database_url) as database:
        if database.absent:
            return NO_KEYS
        with database.writing() as connection:
            n = forget_keys(connection)
    return f"Keys forgotten: {n:,}. {NO_KEYS}"


_MAY = {"read": "read and compute", "write": "read and change everything"}


def _stored(settings: Settings) -> list[StoredKey]:
    with Database(settings.database_url) as database:
        database.prepare_if_present()
        return database.read(list_keys) or []


def _is_valid(key: StoredKey, now: datetime) -> bool:
    return key.revoked_at is None and not key.has_expired(now)


def _row(key: StoredKey) -> tuple[str, ...]:
    moments = _minute(key.created_at), _day(key.expires_at, "never"), _minute(key.last_used_at), _minute(key.revoked_at)
    return key.id, key.scope, *moments, key.name


def _minute(at: datetime | None) -> str:
    return "" if at is None else f"{at:%Y-%m-%d %H:%M}"


def _day(at: datetime | None, without: str) -> str:
    return without if at is None else f"{at:%Y-%m-%d}"
