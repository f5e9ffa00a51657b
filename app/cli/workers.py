"""Several processes that answer at one address: each is a whole server on the same ledger.

They share the listening socket, so a connection goes to whichever takes it first. What must be done once is agreed on
in the ledger, as between servers that were started apart (see `app.serving.self_learning`).
"""

import logging
import multiprocessing
import os
import signal
from collections.abc import Callable
from multiprocessing.connection import wait
from multiprocessing.context import SpawnProcess
from multiprocessing.synchronize import Event
from threading import Event as Flag
from threading import Thread
from time import monotonic
from types import FrameType
from typing import NamedTuple

LOG = logging.getLogger("uvicorn.error")
POLL_SECONDS = 0.2
# Longer than a server takes that is told to stop: one that is still there then is killed.
STOP_SECONDS = 14.0
MEND = "see the lines before it: memory that ran out, or a fault of the program; the others answer meanwhile"

Work = Callable[..., None]


class _Worker(NamedTuple):
    """A process, and whether it has come to answer."""

    process: SpawnProcess
    answers: Event


class Workers:
    """Worker processes: started, started again where one dies, and stopped together.

    Where one ends before it answers all are stopped: what kept it from starting would keep the next one too.
    """

    def __init__(self, work: Work, arguments: tuple[object, ...], n: int) -> None:
        """Take a function that a new process can import, what it is called with, and how many processes to run.

        Its last argument, added here, is to be called once the process answers.
        """
        self._work, self._arguments, self._n = work, arguments, n
        self._context = multiprocessing.get_context("spawn")
        self._stopping = Flag()

    def run(self) -> bool:
        """Run them until told to stop, and return whether all came to answer that were not stopped before."""
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, self._stop)
        workers = [self._started() for _ in range(self._n)]
        sound = True
        while not self._stopping.wait(POLL_SECONDS):
            for i, worker in enumerate(workers):
                if worker.process.is_alive():
                    continue
                if not worker.answers.is_set():
                    sound = False
                    self._stopping.set()
                    break
                died = worker.process.pid, worker.process.exitcode
                LOG.error(
                    "worker %s ended with %s, another is started", *died, extra={"event": "worker_died", "todo": MEND}
                )
                workers[i] = self._started()
        _end([worker.process for worker in workers])
        return sound

    def _started(self) -> _Worker:
        answers = self._context.Event()
        process = self._context.Process(target=_in_worker, args=(self._work, self._arguments, answers))
        process.start()
        return _Worker(process, answers)

    def _stop(self, _number: int, _frame: FrameType | None) -> None:
        self._stopping.set()


def _end(processes: list[SpawnProcess]) -> None:
    for process in processes:
        process.terminate()
    last = monotonic() + STOP_SECONDS
    for process in processes:
        process.join(max(last - monotonic(), 0.0))
    for process in processes:
        if process.is_alive():
            process.kill()
            process.join()


def _in_worker(work: Work, arguments: tuple[object, ...], answers: Event) -> None:
    """Run in a new process: work until told to stop, or until the process that started it is gone."""
    parent = multiprocessing.parent_process()
    assert parent is not None  # noqa: S101 - it was started by one

    def follow() -> None:
        wait([parent.sentinel])
        os.kill(os.getpid(), signal.SIGTERM)

    Thread(target=follow, name="parent", daemon=True).start()
    work(*arguments, answers.set)
