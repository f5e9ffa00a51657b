"""Parts of one answer worked out on several threads: numpy lets go of the interpreter while it computes.

The threads are few and shared by all calls. A call works at its parts itself and takes a thread in only while one is
free, so however many calls there are they hold no more than their own threads and these.
"""

import os
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Part = TypeVar("Part")
Result = TypeVar("Result")

# One fewer than there are cores: each call brings a thread of its own.
N_HELPERS = max((os.cpu_count() or 1) - 1, 1)
_HELPERS = ThreadPoolExecutor(N_HELPERS, thread_name_prefix="computing-part")
_FREE = threading.BoundedSemaphore(N_HELPERS)


def side_by_side(work: Callable[[Part], Result], parts: Sequence[Part]) -> list[Result]:
    """Return what `work` makes of each part, in their order, whatever thread it ran on.

    Work must not depend on what was done before. The first fault ends the rest and is raised once nobody works on.
    """
    todo, lock = iter(enumerate(parts)), threading.Lock()
    results: dict[int, Result] = {}
    faults: list[BaseException] = []

    def take() -> None:
        while not faults:
            with lock:
                i, part = next(todo, (None, None))
            if i is None:
                return
            try:
                results[i] = work(part)  # type: ignore[arg-type]
            except BaseException as fault:
                faults.append(fault)

    helpers: list[Future[None]] = []
    while len(helpers) < min(N_HELPERS, len(parts) - 1) and _FREE.acquire(blocking=False):
        helpers.append(_HELPERS.submit(_then_free, take))
    take()
    for helper in helpers:
        helper.result()
    if faults:
        raise faults[0]
    return [results[i] for i in range(len(parts))]


def _then_free(take: Callable[[], None]) -> None:
    try:
        take()
    finally:
        _FREE.release()
