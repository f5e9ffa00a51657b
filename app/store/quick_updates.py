"""Boxes that came after the version which serves was made, and what they made of its draws.

What is stored follows from the version and the boxes: it is kept so that every process on the ledger serves the same
and computes it once. One process works on it at a time; a claim that is older than `LEASE` counts as given up.
"""

from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import Connection, delete, func, insert, select, update

from app.store.refits import UNFINISHED, Refit, read_refit
from app.store.schema import quick_updates, refits, shipments
from app.store.shipments import ARRIVED

LEASE = timedelta(seconds=60)


class LaterBoxes(NamedTuple):
    """Arrived boxes that changed after a revision of the ledger: how many, and the last revision that changed one."""

    boxes: int
    revision: int


class StoredUpdate(NamedTuple):
    """What later boxes made of a version's draws: `found_json` is None while it is worked on."""

    claimed_at: datetime
    found_json: str | None
    draws: bytes | None


def later_boxes(connection: Connection, seen: int) -> LaterBoxes:
    """Return the arrived boxes that came, or were corrected, after a revision of the ledger."""
    last = shipments.c.corrected_revision
    query = select(func.count(), func.max(last)).where(shipments.c.state == ARRIVED, last > seen)
    n, revision = connection.execute(query).one()
    return LaterBoxes(n, revision or seen)


def count_arrived(connection: Connection) -> int:
    """Return the number of arrived boxes."""
    n: int = connection.execute(select(func.count()).where(shipments.c.state == ARRIVED)).scalar_one()
    return n


def learned_revision(connection: Connection) -> int:
    """Return the last revision of the ledger that a refit has learned from, or has failed at; 0 without one."""
    return connection.execute(select(func.max(refits.c.ledger_revision))).scalar() or 0


def refit_under_way(connection: Connection, *, now: datetime) -> bool:
    """Whether a refit waits or runs whose process gives signs of life."""
    ids = connection.execute(select(refits.c.id).where(refits.c.state.in_(UNFINISHED))).scalars().all()
    found: list[Refit | None] = [read_refit(connection, refit_id) for refit_id in ids]
    return any(refit is not None and not refit.is_dead(now) for refit in found)


def read_quick_update(connection: Connection, version: str, revision: int) -> StoredUpdate | None:
    """Return what boxes up to a revision made of a version's draws, or None where nobody has begun."""
    of = quick_updates.c
    query = select(of.claimed_at, of.found_json, of.draws).where(of.version == version, of.revision == revision)
    row = connection.execute(query).one_or_none()
    return None if row is None else StoredUpdate(*row)


def claim_quick_update(connection: Connection, version: str, revision: int, *, now: datetime) -> bool:
    """Take an update upon oneself, in a write transaction; False if it is done, or another process is at it.

    What was found for other versions and earlier boxes is forgotten: it can be found again.
    """
    stored = read_quick_update(connection, version, revision)
    if stored is not None and (stored.found_json is not None or now - stored.claimed_at <= LEASE):
        return False
    connection.execute(delete(quick_updates))
    connection.execute(insert(quick_updates).values(version=version, revision=revision, claimed_at=now))
    return True


def finish_quick_update(
    connection: Connection, version: str, revision: int, *, found_json: str, draws: bytes | None
) -> bool:
    """Store what was found, in a write transaction; False if a later box has made it old news."""
    this = (quick_updates.c.version == version, quick_updates.c.revision == revision)
    change = update(quick_updates).where(*this).values(found_json=found_json, draws=draws)
    return connection.execute(change).rowcount == 1
