"""Refits in processes of their own: the server only starts them and notes when one has ended."""

import logging
import subprocess
import sys
from collections.abc import Callable
from threading import Lock, Thread

from app.problems import StoreUnavailable
from app.serving.refits import NOT_STARTED, end_refit
from app.settings import Settings
from app.store import Database

LOG = logging.getLogger("uvicorn.error")
STOP_SECONDS = 10.0


class RefitProcesses:
    """The refits that this server started; they end with it, unless it is killed: then they finish by themselves."""

    def __init__(self, settings: Settings, database: Database, on_end: Callable[[], object]) -> None:
        """Take what the processes need, and what to do when one has ended."""
        self._settings, self._database, self._on_end = settings, database, on_end
        self._running: dict[str, tuple[subprocess.Popen[bytes], Thread]] = {}
        self._lock = Lock()

    def start(self, refit_id: str) -> None:
        """Start the process of a queued refit."""
        command = [sys.executable, "-m", "app", "refit", "--job", refit_id]
        try:
            process = subprocess.Popen(  # noqa: S603 - no part of it is given by a caller
                command, env=self._settings.child_environment(), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL
            )
        except OSError as error:
            end_refit(self._database, refit_id, NOT_STARTED.format(reason=error.strerror))
            return
        watch = Thread(target=self._watch, args=(refit_id, process), name=f"refit {refit_id}", daemon=True)
        with self._lock:
            self._running[refit_id] = process, watch
        watch.start()

    def pid(self, refit_id: str) -> int | None:
        """Return the process id of a refit that runs, None if it has ended or another server started it."""
        with self._lock:
            running = self._running.get(refit_id)
        return None if running is None else running[0].pid

    def close(self) -> None:
        """Stop all refits and wait for their ends to be noted."""
        with self._lock:
            running = list(self._running.values())
        for process, _ in running:
            process.terminate()
        for process, watch in running:
            try:
                process.wait(STOP_SECONDS)
            except subprocess.TimeoutExpired:
                process.kill()
            watch.join()

    def _watch(self, refit_id: str, process: subprocess.Popen[bytes]) -> None:
        process.wait()
        try:
            end_refit(self._database, refit_id)
        except StoreUnavailable as error:
            # Its lease runs out by itself.
            LOG.error("the end of refit %s is not noted: %s", refit_id, error.reason)
        with self._lock:
            del self._running[refit_id]
        self._on_end()
