"""The model that this process serves: the active version of the ledger, whichever process activated it."""

import logging
from threading import Lock

from anyio import CapacityLimiter, sleep, to_thread

from app.problems import StoreUnavailable
from app.serving.artifacts import ArtefactError, from_artefact
from app.serving.engine import Engine
from app.store import Database, active_version, read_version

LOG = logging.getLogger("uvicorn.error")

# Another process's activation is served here after at most about so long.
CHECK_SECONDS = 1.0


class ActiveModel:
    """Serves one engine, replaced as a whole once another version is active and has been loaded.

    A version that cannot be used (see `app.artifacts`), and a database that cannot be read, leave the engine as it is:
    at start that is the rules of thumb alone. `notice` then says so.
    """

    def __init__(self, database: Database) -> None:
        """Start with the rules of thumb alone."""
        self._database = database
        self._loading = Lock()
        self.engine = Engine.load()
        self._rules = self.engine
        self._seen: str | None = None
        self.notice: str | None = None

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
            if active == self._seen:
                return
            stored = None if active is None else read_version(connection, active)
        if active is None or stored is None:
            self.engine, self.notice = self._rules, None
        else:
            try:
                fit = from_artefact(stored[0].manifest_json, stored[1], self._rules.reference)
                engine = Engine.of(active, fit)
            except ArtefactError as error:
                self.notice = f"{active} is active, but cannot be used: {error}. {self.engine.model_version} answers."
                LOG.error("%s", self.notice)
            else:
                self.engine, self.notice = engine, None
        self._seen = active

    async def follow(self) -> None:
        """Look for another active version every second, in a thread of its own, until cancelled."""
        thread = CapacityLimiter(1)
        while True:
            await sleep(CHECK_SECONDS)
            await to_thread.run_sync(self.refresh, limiter=thread)
