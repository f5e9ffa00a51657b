"""``python -m app refit``: a refit in this process."""

import logging
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from app.learning import RefitError, run_refit, weigh_later_boxes
from app.log_lines import set_up_log
from app.problems import Conflict, NotFound, Problem
from app.serving import find_refit, request_refit
from app.settings import Settings
from app.store import ACTIVATED, FAILED, Database, Refit

LOG = logging.getLogger("app.refit")
NICENESS = 3
STOPPED = 2


class RefitFailed(Problem):
    """The refit came to nothing; its reason says why."""

    status = Conflict.status
    code = Conflict.code
    title = "The refit failed"


def refit_of_server(settings: Settings, job: str) -> str:
    """Run a refit that a server has queued, a little niced, since the server answers people meanwhile.

    Nothing is said: the server tells how it went, in the log that both share.
    """
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    with _log_of_server(settings), Database(settings.database_url) as database:
        _check_present(database)
        run_refit(database, job, n_weighed=settings.refit_draws, fixed=settings.now)
    return ""


def quick_update_of_server(settings: Settings) -> str:
    """Run a quick update that a server has claimed; as `refit_of_server`."""
    with _log_of_server(settings):
        return quick_update(settings, claimed=True)


@contextmanager
def _log_of_server(settings: Settings) -> Iterator[None]:
    set_up_log(settings.log_format)
    try:
        yield
    except (Problem, RefitError) as error:
        LOG.error("%s", " ".join(error.lines() if isinstance(error, Problem) else [str(error)]))
        sys.exit(STOPPED)


def refit(settings: Settings) -> str:
    """Refit to the ledger in a job of its own, and say what came of it.

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
        _check_present(database)
        queued, new = request_refit(database)
        if not new:
            raise RefitFailed(f"A refit waits for its turn already ({queued.id}): it will see all boxes of the ledger.")
        try:
            done = run_refit(database, queued.id, n_weighed=settings.refit_draws, fixed=settings.now)
        except RefitError as error:
            raise RefitFailed(str(error)) from error
        except KeyboardInterrupt:
            done = find_refit(database, queued.id)
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


def _check_present(database: Database) -> None:
    """Refuse a ledger that is not there, so that none is made."""
    database.prepare_if_present()
    if database.absent:
        raise NotFound("There is no ledger to learn from yet: import boxes first (python -m app import FILE).")


def _said(done: Refit) -> str:
    if done.state == FAILED or not done.is_finished:
        raise RefitFailed(done.reason or "The refit was stopped.")
    verb = "serves from now on" if done.state == ACTIVATED else "is stored, and can be activated"
    return f"{done.version} {verb}. {done.reason}"
