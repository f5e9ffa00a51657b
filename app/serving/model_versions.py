"""Versions of the model: listed, activated, rolled back."""

from app.problems import Conflict, NotFound
from app.schemas import ModelVersion, ModelVersionsAnswer
from app.serving.engine import Engine, rules_version
from app.serving.manifest import ArtefactError, read_manifest
from app.serving.stored_fit import read_fit
from app.store import Database, StoredVersion, activate_version, list_versions
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
    return ModelVersionsAnswer(model_version=engine.model_version, items=items)


def activate(database: Database, version: str, reference: Reference) -> None:
    """Make a version the active one, after a look whether it can be used.

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
                activate_version(connection, None)
        return
    try:
        found = database.read(lambda connection: read_fit(connection, version, reference))
    except ArtefactError as error:
        raise Conflict(f"This version cannot be used: {error}.") from error
    if found is None:
        raise NotFound("There is no such version of the model.")
    with database.writing() as connection:
        activate_version(connection, version)


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
