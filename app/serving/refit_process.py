"""Refits and quick updates in processes of their own: the server only starts them and notes when one has ended."""

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
QUICK = "quick update"


class RefitProcesses:
    """The refits that this server started; they end with it, unless it is killed: then they finish by themselves."""

    def __init__(self, settings: Settings, database: Database, on_end: Callable[[], object]) -> None:
        """Take what the processes need, and what to do when one has ended."""
        self._settings, self._database, self._on_end = settings, database, on_end
        self._running: dict[str, tuple[subprocess.Popen[bytes], Thread]] = {}
        self._lock = Lock()

    def start(self, refit_id: str) -> None:
        """Start the process of a queued refit."""
        try:
            process = self._popen("--job", refit_id)
        except OSError as error:
            end_refit(self._database, refit_id, NOT_STARTED.format(reason=error.strerror))
            return
        self._watched(refit_id, process, lambda: end_refit(self._database, refit_id))

    def start_quick_update(self) -> None:
        """Start the process of a quick update that was claimed for it."""
        try:
            process = self._popen("--quick", "--claimed")
        except OSError as error:
            LOG.error("a quick update could not be started: %s", error.strerror)
            return
        self._watched(QUICK, process, lambda: None)

    def _popen(self, *options: str) -> "subprocess.Popen[bytes]":
        return subprocess.Popen(  # noqa: S603 - no part of it is given by a caller
            [sys.executable, "-m", "app", "refit", *options],
            env=self._settings.child_environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )

    def _watched(self, name: str, process: "subprocess.Popen[bytes]", note_end: Callable[[], object]) -> None:
        name = f"{name} {process.pid}" if name == QUICK else name
        watch = Thread(target=self._watch, args=(name, process, note_end), name=f"refit {name}", daemon=True)
        with self._lock:
            self._running[name] = process, watch
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

    def _watch(self, name: str, process: "subprocess.Popen[bytes]", note_end: Callable[[], object]) -> None:
        process.wait()
        try:
            note_end()
        except StoreUnavailable as error:
            # Its lease runs out by itself.
            LOG.error("the end of refit %s is not noted: %s", name, error.reason)
        with self._lock:
            del self._running[name]
        self._on_end()
