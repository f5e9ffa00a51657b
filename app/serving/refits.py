"""Asking for a refit and how it went: the side of the server."""

from collections.abc import Collection, Sequence

from app.clock import moment
from app.problems import NotFound
from app.schemas import Doubtful, RefitAnswer
from app.store import (
    FAILED,
    Database,
    Refit,
    fail_dead,
    finish_refit,
    log_failed,
    queue_again,
    queue_refit,
    read_refit,
    unlearned,
)

NOT_STARTED = "Its process could not be started: {reason}."
CUT_SHORT = "It was cut short: the server stopped. Nothing was stored, and the next server takes it up again."
TAKEN_UP = "Taken up again: its process was stopped before it was done."
STOPPED = "Its process was stopped before it was done; nothing was stored, and the active version went on serving."

NOTHING_TO_DO = "nothing: the next server takes it up again"


def request_refit(database: Database, *, by_itself: bool = False) -> tuple[Refit, bool]:
    """Return the refit that waits for its turn, and whether it is new and needs a process.

    `by_itself` says that nobody asked for it: while a version is held that was gone back to, it activates none.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    with database.writing() as connection:
        return queue_refit(connection, now=moment(), by_itself=by_itself)


def take_up_refit(database: Database, *, but: Collection[str]) -> Refit | None:
    """Queue the last refit again if it was stopped before it was done and is none of `but`, and return it if so.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    now = moment()
    with database.reading() as connection:
        found = unlearned(connection, now=now)
    if found is None or found.id in but:
        return None
    with database.writing() as connection:
        return found if queue_again(connection, found.id, reason=TAKEN_UP, now=now) else None


def find_refit(database: Database, refit_id: str) -> Refit:
    """Return a refit; one whose process has died is found failed.

    Raises
    ------
    NotFound
        If there is none with this id.
    StoreUnavailable
        If the database cannot be used.
    """
    refit = _read(database, refit_id)
    now = moment()
    if refit is not None and refit.is_dead(now):
        with database.writing() as connection:
            fail_dead(connection, now=now)
        refit = _read(database, refit_id)
    if refit is None:
        raise NotFound("There is no such refit.")
    return refit


def end_refit(database: Database, refit_id: str, reason: str = STOPPED) -> None:
    """Record as failed a refit whose process has ended, unless it has said itself how it went.

    Either way one line of the log says so if it failed.
    """
    with database.writing() as connection:
        finish_refit(connection, refit_id, state=FAILED, reason=reason, now=moment())
        refit = read_refit(connection, refit_id)
    if refit is not None and refit.state == FAILED:
        log_failed(refit_id, refit.reason, *([NOTHING_TO_DO] if refit.reason == CUT_SHORT else []))


def refit_answer(refit: Refit, doubtful: Sequence[Doubtful]) -> RefitAnswer:
    """Return a refit as it is answered, with the records that look wrong."""
    told = refit._asdict()
    del told["seen_at"], told["by_itself"]
    return RefitAnswer(**told, doubtful=list(doubtful))


def _read(database: Database, refit_id: str) -> Refit | None:
    return database.read(lambda connection: read_refit(connection, refit_id))
