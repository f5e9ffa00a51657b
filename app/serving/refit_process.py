"""Refits and quick updates in processes of their own: the server only starts them and notes when one has ended."""

import logging
import subprocess
import sys
from collections.abc import Callable
from threading import Lock, Thread

from app.problems import StoreUnavailable
from app.serving.refits import CUT_SHORT, NOT_STARTED, STOPPED, end_refit
from app.settings import Settings
from app.store import Database

LOG = logging.getLogger("uvicorn.error")
# Until a process that was told to stop is killed, and until its end is noted, which takes the ledger's lock.
STOP_SECONDS = 3.0
NOTE_SECONDS = 2.0
QUICK = "quick update"


class RefitProcesses:
    """The refits that this server started; they end with it, unless it is killed: then they finish by themselves."""

    def __init__(self, settings: Settings, database: Database, on_end: Callable[[], object]) -> None:
        """Take what the processes need, and what to do when one has ended."""
        self._settings, self._database, self._on_end = settings, database, on_end
        self._running: dict[str, tuple[subprocess.Popen[bytes], Thread]] = {}
        self._lock = Lock()
        self.started: set[str] = set()
        self.stopping = False

    def start(self, refit_id: str) -> None:
        """Start the process of a queued refit."""
        self.started.add(refit_id)
        try:
            process = self._popen("--job", refit_id)
        except OSError as error:
            end_refit(self._database, refit_id, NOT_STARTED.format(reason=error.strerror))
            return

        def note_end() -> None:
            end_refit(self._database, refit_id, CUT_SHORT if self.stopping else STOPPED)

        self._watched(refit_id, process, note_end)

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
            if self.stopping:
                process.terminate()
        watch.start()

    def pid(self, refit_id: str) -> int | None:
        """Return the process id of a refit that runs, None if it has ended or another server started it."""
        with self._lock:
            running = self._running.get(refit_id)
        return None if running is None else running[0].pid

    def begin_stop(self) -> None:
        """Tell all refits to stop, and wait for none; those that are started later are told at once."""
        with self._lock:
            self.stopping = True
            running = list(self._running.values())
        for process, _ in running:
            process.terminate()

    def close(self) -> None:
        """Stop all refits, and wait for their ends to be noted, which a ledger that is locked may prevent."""
        self.begin_stop()
        with self._lock:
            running = list(self._running.values())
        for process, _ in running:
            try:
                process.wait(STOP_SECONDS)
            except subprocess.TimeoutExpired:
                process.kill()
        for _, watch in running:
            watch.join(NOTE_SECONDS)

    def kill(self) -> None:
        """End the processes of all refits at once; nothing is noted."""
        self.stopping = True
        for process, _ in list(self._running.values()):
            process.kill()

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
