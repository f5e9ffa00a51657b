"""``python -m app refit``: a refit in this process."""

import os

from app.learning import RefitError, run_refit, weigh_later_boxes
from app.problems import Conflict, NotFound, Problem
from app.serving import find_refit, request_refit
from app.settings import Settings
from app.store import ACTIVATED, FAILED, Database, Refit

NICENESS = 3


class RefitFailed(Problem):
    """The refit came to nothing; its reason says why."""

    status = Conflict.status
    code = Conflict.code
    title = "The refit failed"


def refit(settings: Settings, job: str | None) -> str:
    """Refit to the ledger, in the turn of a job that a server has queued or of one of its own, and say what came of it.

    Raises
    ------
    RefitFailed
        If it came to nothing.
    NotFound
        If there is no ledger to learn from; none is made.
    StoreUnavailable
        If the database cannot be used.
    """
    with Database(settings.database_url) as database:
        database.prepare_if_present()
        if database.absent:
            raise NotFound("There is no ledger to learn from yet: import boxes first (python -m app import FILE).")
        if job is None:
            queued, new = request_refit(database)
            if not new:
                raise RefitFailed(
                    f"A refit waits for its turn already ({queued.id}): it will see all boxes of the ledger."
                )
            job = queued.id
        elif hasattr(os, "nice"):
            # The server that waits for it answers people meanwhile.
            os.nice(NICENESS)
        try:
            done = run_refit(database, job, n_weighed=settings.refit_draws, fixed=settings.now)
        except RefitError as error:
            raise RefitFailed(str(error)) from error
        except KeyboardInterrupt:
            done = find_refit(database, job)
    return _said(done)


def quick_update(settings: Settings, *, claimed: bool = False) -> str:
    """Weigh the draws of the version that serves by the boxes since, and say what became of them.

    `claimed` says that a server has started this for boxes that it knows of.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    with Database(settings.database_url) as database:
        database.prepare_if_present()
        found = None if database.absent else weigh_later_boxes(database, claimed=claimed)
    return found.text if found else "Nothing to do: no boxes since the version that serves was made, or it is done."


def _said(done: Refit) -> str:
    if done.state == FAILED or not done.is_finished:
        raise RefitFailed(done.reason or "The refit was stopped.")
    verb = "serves from now on" if done.state == ACTIVATED else "is stored, and can be activated"
    return f"{done.version} {verb}. {done.reason}"
