"""The model that this process serves: the active version of the ledger, whichever process activated it."""

import logging
from collections.abc import Callable
from threading import Lock
from typing import NamedTuple

from app.clock import every
from app.problems import StoreUnavailable
from app.serving.engine import Engine
from app.serving.manifest import ArtefactError
from app.serving.quick_update import QuickUpdate
from app.serving.stored_fit import StoredFit, read_fit
from app.store import Connection, Database, active_version, later_boxes, read_quick_update, versions_once_active

LOG = logging.getLogger("uvicorn.error")

# Another process's activation is served here after at most about so long.
CHECK_SECONDS = 1.0
REFUSED = {
    "event": "artefact_refused",
    "todo": "refit (python -m app refit), activate another version, or restore a backup of the ledger",
}


class Awaited(NamedTuple):
    """What is not yet found: what arrived boxes up to a revision of the ledger make of a version's draws."""

    version: str
    revision: int


class ActiveModel:
    """Serves one engine, replaced as a whole once another version is active and has been loaded.

    A version that cannot be used (see `app.serving.artifacts`) leaves the engine as it is; at start the last version
    that a refit activated and that can be used serves instead, or else the rules of thumb alone. `notice` then says so.
    A database that cannot be read leaves everything as it is. Boxes that came after the version are taken into account
    once another process has found what they say; `awaited` is what nobody has found yet.
    """

    def __init__(self, database: Database) -> None:
        """Start with the rules of thumb alone."""
        self._database = database
        self._loading = Lock()
        self.engine = Engine.load()
        self._rules = self.engine
        self._base, self._base_seen = self.engine, 0
        self._seen: str | None = None
        self._has_looked = False
        self._applied: Awaited | None = None
        self.notice: str | None = None
        self.awaited: Awaited | None = None

    def refresh(self) -> Engine:
        """Serve the version that is active in the ledger now, and return its engine."""
        with self._loading:
            try:
                self._follow()
            except StoreUnavailable as error:
                LOG.warning(
                    "the active model is not looked up, %s serves on: %s", self.engine.model_version, error.reason
                )
            return self.engine

    def _follow(self) -> None:
        if self._database.absent:
            return
        with self._database.reading() as connection:
            active = active_version(connection)
            if active != self._seen:
                self._change(connection, active)
                self._seen = active
            self._has_looked = True
        self._take_later_boxes()

    def _change(self, connection: Connection, active: str | None) -> None:
        """Serve the version that is active now, or where it cannot be used say so and serve another."""
        try:
            self._serve(None if active is None else read_fit(connection, active, self._rules.reference))
        except ArtefactError as error:
            if not self._has_looked:
                self._serve(self._last_good(connection, active))
            self.notice = f"{active} is active, but cannot be used: {error}. {self._base.model_version} answers."
            LOG.error("%s", self.notice, extra=REFUSED | {"version": active})
        else:
            self.notice = None

    def _last_good(self, connection: Connection, active: str | None) -> StoredFit | None:
        """Return the last version but the active one that a refit had activated and that can be used, None without."""
        for version in versions_once_active(connection):
            if version != active:
                try:
                    return read_fit(connection, version, self._rules.reference)
                except ArtefactError as error:
                    LOG.warning("%s cannot be used either: %s", version, error, extra=REFUSED | {"version": version})
        return None

    def _serve(self, found: StoredFit | None) -> None:
        """Serve a version as it was stored; None: the rules of thumb alone."""
        self.engine = self._base = self._rules if found is None else Engine.of(found.stored.version, found.fit)
        self._base_seen, self._applied = 0 if found is None else found.stored.ledger_revision, None

    def _take_later_boxes(self) -> None:
        """Serve what the boxes after the version say, as far as it is found; until then what was served before."""
        with self._database.reading() as connection:
            later = later_boxes(connection, self._base_seen)
            wanted = Awaited(self._base.model_version, later.revision) if later.boxes else None
            if wanted == self._applied:
                self.awaited = None
                return
            stored = None if wanted is None else read_quick_update(connection, *wanted)
        if wanted is None:
            self.engine, self._applied, self.awaited = self._base, None, None
        elif stored is None or stored.found_json is None:
            self.awaited = wanted
        else:
            self._applied, self.awaited = wanted, None
            try:
                found = QuickUpdate.stored(stored.found_json, stored.draws, n_draws=self._base.draws.n_draws)
            except ValueError as error:
                self.engine = self._base
                LOG.error("what later boxes say of %s cannot be read: %s", wanted.version, error)
            else:
                self.engine = self._base.updated(found)

    async def follow(self, then: Callable[[], object]) -> None:
        """Look for another active version every second and do what is next, in a thread, until cancelled."""

        def look() -> None:
            self.refresh()
            then()

        await every(CHECK_SECONDS, look, "the active model is not looked up")
