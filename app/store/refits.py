"""Refits: queued, running, then activated, kept or failed. One runs at a time, whatever the number of processes.

The process of a refit gives a sign of life every few seconds. One that has given none for `LEASE` counts as dead
(killed, or its computer stopped) and blocks nobody: it is failed by whoever looks next. Clocks of computers that share
a database must agree to within a fraction of that.
"""

import logging
import secrets
from datetime import datetime, timedelta
from typing import Literal, NamedTuple

from sqlalchemy import Connection, insert, select, update

from app.store.schema import refits

QUEUED: Literal["queued"] = "queued"
RUNNING: Literal["running"] = "running"
ACTIVATED: Literal["activated"] = "activated"
KEPT: Literal["kept"] = "kept"
FAILED: Literal["failed"] = "failed"
UNFINISHED = (QUEUED, RUNNING)
State = Literal["queued", "running", "activated", "kept", "failed"]
LOG = logging.getLogger("app.refit")
ASK_AGAIN = "mend what it names, then ask for another: python -m app refit, or POST /v1/model/refit"
LEASE = timedelta(seconds=60)
DIED = "The process that ran it stopped before it was done; nothing was stored, and the active version went on serving."


class Refit(NamedTuple):
    """A refit; `version` is the one that it stored, `reason` says in plain words what came of it.

    `by_itself`: new boxes called for it, and nobody asked.
    """

    id: str
    state: State
    version: str | None
    reason: str | None
    created_at: datetime
    started_at: datetime | None
    seen_at: datetime | None
    finished_at: datetime | None
    by_itself: bool | None = None

    def is_dead(self, now: datetime) -> bool:
        """Whether it is unfinished and its process has given no sign of life for too long."""
        return self.state in UNFINISHED and now - (self.seen_at or self.created_at) > LEASE

    @property
    def is_finished(self) -> bool:
        """Whether nothing more will come of it."""
        return self.state not in UNFINISHED


_COLUMNS = tuple(refits.c[name] for name in Refit._fields)


def read_refit(connection: Connection, refit_id: str) -> Refit | None:
    """Return a refit, or None if there is none with this id."""
    row = connection.execute(select(*_COLUMNS).where(refits.c.id == refit_id)).one_or_none()
    return None if row is None else Refit(*row)


def queue_refit(connection: Connection, *, now: datetime, by_itself: bool = False) -> tuple[Refit, bool]:
    """Return the refit that waits for its turn and whether it is new, in a write transaction.

    One that waits already will see the ledger as it is when its turn comes, so a second would find nothing new; it
    counts as asked for once anybody asks. One that nobody asks for does not wait behind one that runs: of servers
    that look at the same moment the slower would begin it a second time.
    """
    fail_dead(connection, now=now)
    waiting = connection.execute(select(*_COLUMNS).where(refits.c.state == QUEUED)).first()
    if waiting is not None:
        if not by_itself:
            connection.execute(update(refits).where(refits.c.id == waiting.id).values(by_itself=False))
        return Refit(*waiting)._replace(by_itself=waiting.by_itself and by_itself), False
    running = connection.execute(select(*_COLUMNS).where(refits.c.state == RUNNING)).first()
    if running is not None and by_itself:
        return Refit(*running), False
    refit = Refit(f"r{secrets.token_hex(12)}", QUEUED, None, None, now, None, now, None, by_itself)
    connection.execute(insert(refits).values(**refit._asdict()))
    return refit, True


def unlearned(connection: Connection, *, now: datetime) -> Refit | None:
    """Return the last refit if its process is gone and it has neither learned nor failed at the ledger; else None."""
    last = connection.execute(
        select(*_COLUMNS, refits.c.ledger_revision).order_by(refits.c.created_at.desc(), refits.c.id).limit(1)
    ).one_or_none()
    if last is None or last.ledger_revision is not None:
        return None
    refit = Refit(*last[:-1])
    return refit if refit.state == FAILED or refit.is_dead(now) else None


def queue_again(connection: Connection, refit_id: str, *, reason: str, now: datetime) -> bool:
    """Let a refit that was stopped wait for its turn again, in a write transaction; False if it need not any more."""
    found = unlearned(connection, now=now)
    if found is None or found.id != refit_id:
        return False
    values = {"state": QUEUED, "reason": reason, "started_at": None, "finished_at": None, "seen_at": now}
    connection.execute(update(refits).where(refits.c.id == refit_id).values(values))
    return True


def start_refit(connection: Connection, refit_id: str, *, now: datetime) -> State | None:
    """Let a queued refit run unless another does, in a write transaction, and return its state; None if unknown.

    The state is `queued` while another runs, `running` once it is this one's turn.
    """
    fail_dead(connection, now=now, but=refit_id)
    refit = read_refit(connection, refit_id)
    if refit is None or refit.state != QUEUED:
        return None if refit is None else refit.state
    running = connection.execute(select(refits.c.id).where(refits.c.state == RUNNING)).first()
    values = {"seen_at": now} if running else {"seen_at": now, "started_at": now, "state": RUNNING}
    connection.execute(update(refits).where(refits.c.id == refit_id).values(values))
    return QUEUED if running else RUNNING


def touch_refit(connection: Connection, refit_id: str, *, now: datetime) -> bool:
    """Give a sign of life, in a write transaction; False if the refit is finished or counted as dead."""
    change = update(refits).where(refits.c.id == refit_id, refits.c.state.in_(UNFINISHED)).values(seen_at=now)
    return connection.execute(change).rowcount == 1


def finish_refit(
    connection: Connection,
    refit_id: str,
    *,
    state: str,
    reason: str,
    now: datetime,
    version: str | None = None,
    seen: int | None = None,
) -> bool:
    """Record how a refit ended, in a write transaction; False if it has ended already.

    `seen` is the revision of the ledger that it has learned from, or failed at; None where it was stopped, so that
    another try is worth while.
    """
    values = {"state": state, "reason": reason, "version": version, "finished_at": now, "ledger_revision": seen}
    unfinished = refits.c.state.in_(UNFINISHED)
    return connection.execute(update(refits).where(refits.c.id == refit_id, unfinished).values(values)).rowcount == 1


def fail_dead(connection: Connection, *, now: datetime, but: str = "") -> None:
    """Record as failed all refits whose process is gone, in a write transaction."""
    for row in connection.execute(select(*_COLUMNS).where(refits.c.state.in_(UNFINISHED), refits.c.id != but)).all():
        if Refit(*row).is_dead(now):
            finish_refit(connection, row.id, state=FAILED, reason=DIED, now=now)
            log_failed(row.id, DIED)


def log_failed(refit_id: str, reason: str | None, todo: str = ASK_AGAIN) -> None:
    """Leave the one line that a refit which failed has in the log."""
    fields = {"event": "refit_failed", "refit": refit_id, "todo": todo}
    LOG.error("Refit %s failed: %s", refit_id, reason, extra=fields)
