"""Versions of the model: listed, activated, gone back to."""

from app.clock import moment
from app.problems import Conflict, NotFound
from app.schemas import ModelHold, ModelVersion, ModelVersionsAnswer
from app.serving.engine import Engine, rules_version
from app.serving.manifest import ArtefactError, read_manifest
from app.serving.stored_fit import read_fit
from app.store import Database, StoredVersion, choose_version, end_hold, list_versions, read_hold
from model.reference import Reference


def answer_versions(database: Database, engine: Engine) -> ModelVersionsAnswer:
    """Return all versions, the newest first, then the rules of thumb.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    stored = database.read(list_versions) or []
    rules = ModelVersion(
        version=rules_version(engine.reference),
        active=not any(version.active for version in stored),
        fitted=None,
        boxes=0,
        plants=0,
        usable=True,
        diagnostics={},
    )
    items = [*(_item(version, engine.reference) for version in stored), rules]
    held = held_version(database, engine.reference)
    return ModelVersionsAnswer(model_version=engine.model_version, held=held, items=items)


def activate(database: Database, version: str, reference: Reference) -> None:
    """Make a version the active one by hand, after a look whether it can be used.

    Where that goes back behind newer ones that are good enough, it holds: see `held_version`.

    Raises
    ------
    NotFound
        If there is no such version.
    Conflict
        If it cannot be used.
    StoreUnavailable
        If the database cannot be used.
    """
    if version == rules_version(reference):
        if not database.absent:
            with database.writing() as connection:
                choose_version(connection, None, now=moment())
        return
    try:
        found = database.read(lambda connection: read_fit(connection, version, reference))
    except ArtefactError as error:
        raise Conflict(f"This version cannot be used: {error}.") from error
    if found is None:
        raise NotFound("There is no such version of the model.")
    with database.writing() as connection:
        choose_version(connection, version, now=moment())


def held_version(database: Database, reference: Reference) -> ModelHold | None:
    """Return the version that was gone back to by hand; None where refits by themselves may activate.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    held = database.read(read_hold)
    if held is None:
        return None
    name, n = held.version or rules_version(reference), len(held.waiting)
    back = "the rules of thumb alone" if held.version is None else held.version
    waits = "No newer version waits." if not n else f"{n:,} newer version{' waits' if n == 1 else 's wait'}."
    text = (
        f"You went back to {back} on {held.at.day} {held.at:%B %Y}, and that holds: boxes are learned from, but what"
        f" comes of it is not activated by itself. {waits} Take the newest, or let the model learn by itself again."
    )
    return ModelHold(version=name, since=held.at, waiting=n, newest=held.waiting[0] if n else None, text=text)


def learn_by_itself(database: Database) -> None:
    """End the hold of a version that was gone back to; it answers until a refit activates another.

    Raises
    ------
    StoreUnavailable
        If the database cannot be used.
    """
    if not database.absent:
        with database.writing() as connection:
            end_hold(connection)


def _item(stored: StoredVersion, reference: Reference) -> ModelVersion:
    try:
        manifest = read_manifest(stored.manifest_json)
    except ArtefactError as error:
        return ModelVersion(
            version=stored.version,
            active=stored.active,
            fitted=stored.created_at,
            boxes=0,
            plants=0,
            usable=False,
            diagnostics={"error": str(error)},
        )
    return ModelVersion(
        version=stored.version,
        active=stored.active,
        fitted=manifest.fitted_at,
        boxes=manifest.n_boxes,
        plants=manifest.n_plants,
        usable=manifest.reference_fingerprint == reference.fingerprint,
        diagnostics=manifest.diagnostics,
    )
