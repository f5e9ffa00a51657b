"""``python -m app model``: which version answers, and going back to another and forth again."""

from collections.abc import Iterator
from contextlib import contextmanager

from app.problems import NotFound
from app.serving import ActiveModel, activate, held_version, learn_by_itself, rules_version
from app.settings import Settings
from app.store import Database, active_version
from model.reference import Reference, load_reference


def model_text(settings: Settings) -> str:
    """Return which version answers, and whether it was gone back to by hand.

    Raises
    ------
    NotFound, StoreUnavailable
        If there is no ledger, or it cannot be used.
    """
    with _ledger(settings) as (database, reference):
        active = ActiveModel(database)
        answers = f"{active.refresh().model_version} answers."
        return " ".join(filter(None, (answers, active.notice))) + _held(database, reference)


def use_version(settings: Settings, version: str) -> str:
    """Let a version answer from now on, and say what follows.

    Raises
    ------
    NotFound, Conflict, StoreUnavailable
        If there is no ledger or no such version, it cannot be used, or the database cannot.
    """
    with _ledger(settings) as (database, reference):
        activate(database, version, reference)
        return f"{_active(database, reference)} answers from now on.{_held(database, reference)}"


def take_newest(settings: Settings) -> str:
    """Let the newest of the versions that wait answer.

    Raises
    ------
    NotFound, Conflict, StoreUnavailable
        If there is no ledger or none waits, it cannot be used, or the database cannot.
    """
    with _ledger(settings) as (database, reference):
        held = held_version(database, reference)
        if held is None or held.newest is None:
            raise NotFound("No newer version waits.")
        activate(database, held.newest, reference)
        return f"{held.newest} answers from now on."


def learn_again(settings: Settings) -> str:
    """Let refits activate what they store again.

    Raises
    ------
    NotFound, StoreUnavailable
        If there is no ledger, or it cannot be used.
    """
    with _ledger(settings) as (database, reference):
        learn_by_itself(database)
        return f"{_active(database, reference)} answers until a refit activates another."


@contextmanager
def _ledger(settings: Settings) -> Iterator[tuple[Database, Reference]]:
    with Database(settings.database_url) as database:
        database.prepare_if_present()
        if database.absent:
            raise NotFound("There is no ledger yet: import boxes first (python -m app import FILE).")
        yield database, load_reference()


def _active(database: Database, reference: Reference) -> str:
    with database.reading() as connection:
        return active_version(connection) or rules_version(reference)


def _held(database: Database, reference: Reference) -> str:
    held = held_version(database, reference)
    ways = "python -m app model --take-newest, or --learn-again"
    return "" if held is None else f" {held.text} ({ways})"
