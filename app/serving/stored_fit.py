"""A fitted version as the ledger holds it, checked and ready to serve."""

from typing import NamedTuple

from app.serving.artifacts import FittedModel, from_artefact
from app.serving.manifest import ArtefactError
from app.store import Connection, DamagedVersion, StoredVersion, read_version
from model.reference import Reference


class StoredFit(NamedTuple):
    """A version and the model that its artefact holds."""

    stored: StoredVersion
    fit: FittedModel


def read_fit(connection: Connection, version: str, reference: Reference) -> StoredFit | None:
    """Return a version of the ledger, or None if there is none of this name.

    Raises
    ------
    ArtefactError
        If it cannot be used; the message says why and what to do.
    """
    try:
        found = read_version(connection, version)
    except DamagedVersion as error:
        raise ArtefactError(f"{error}: refit") from error
    if found is None:
        return None
    stored, arrays = found
    return StoredFit(stored, from_artefact(stored.manifest_json, arrays, reference))
