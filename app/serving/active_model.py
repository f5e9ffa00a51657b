"""The model that this process serves: the active version of the ledger, whichever process activated it."""

import logging
from collections.abc import Callable
from threading import Lock
from typing import NamedTuple

from anyio import CapacityLimiter, sleep, to_thread

from app.problems import StoreUnavailable
from app.serving.artifacts import ArtefactError, from_artefact
from app.serving.engine import Engine
from app.serving.quick_update import QuickUpdate
from app.store import Database, StoredVersion, active_version, later_boxes, read_quick_update, read_version

LOG = logging.getLogger("uvicorn.error")

# Another process's activation is served here after at most about so long.
CHECK_SECONDS = 1.0


class Awaited(NamedTuple):
    """What is not yet found: what arrived boxes up to a revision of the ledger make of a version's draws."""

    version: str
    revision: int


class ActiveModel:
    """Serves one engine, replaced as a whole once another version is active and has been loaded.

    A version that cannot be used (see `app.artifacts`), and a database that cannot be read, leave the engine as it is:
    at start that is the rules of thumb alone. `notice` then says so. Boxes that came after the version are taken into
    account once another process has found what they say; `awaited` is what nobody has found yet.
    """

    def __init__(self, database: Database) -> None:
        """Start with the rules of thumb alone."""
        self._database = database
        self._loading = Lock()
        self.engine = Engine.load()
        self._rules = self.engine
        self._base, self._base_seen = self.engine, 0
        self._seen: str | None = None
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
            changed = active != self._seen
            stored = read_version(connection, active) if changed and active is not None else None
        if changed:
            self._serve(active, stored)
        self._take_later_boxes()

    def _serve(self, active: str | None, stored: tuple[StoredVersion, bytes] | None) -> None:
        """Serve a version as it was stored; one that cannot be used leaves the engine as it is."""
        self._seen = active
        base, seen = self._rules, 0
        if active is not None and stored is not None:
            try:
                fit = from_artefact(stored[0].manifest_json, stored[1], self._rules.reference)
                base, seen = Engine.of(active, fit), stored[0].ledger_revision
            except ArtefactError as error:
                self.notice = f"{active} is active, but cannot be used: {error}. {self.engine.model_version} answers."
                LOG.error("%s", self.notice)
                return
        self.engine = self._base = base
        self._base_seen, self._applied, self.notice = seen, None, None

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
        thread = CapacityLimiter(1)

        def look() -> None:
            self.refresh()
            then()

        while True:
            await sleep(CHECK_SECONDS)
            await to_thread.run_sync(look, limiter=thread)
