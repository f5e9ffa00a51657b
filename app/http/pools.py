"""Threads for the work of calls, in pools of their own, so that no kind of call holds up another.

Computing is bound by the processor, so it has a thread a core: more would only hold more draws in memory. Changes wait
for each other at the ledger's lock, and must not hold up who only reads it.
"""

import asyncio
import os
from collections.abc import Callable
from typing import NamedTuple, TypeVar

from anyio import CancelScope, CapacityLimiter, WouldBlock, current_time, to_thread
from starlette.requests import ClientDisconnect, Request

from app.problems import Busy, Stopping

# A call that waits for longer is refused: by then most clients have given up.
PATIENCE_SECONDS = 20.0
Result = TypeVar("Result")


class Pool:
    """So many threads, and a queue of calls that wait for one, in the order they came."""

    def __init__(self, n_threads: int, most_waiting: int, *, patience_seconds: float = PATIENCE_SECONDS) -> None:
        """Take the number of threads, and how many calls may wait for one and for how long."""
        self._turns, self._threads = CapacityLimiter(n_threads), CapacityLimiter(n_threads)
        self._most_waiting, self._patience_seconds = most_waiting, patience_seconds
        self.n_waiting = 0

    async def run(self, request: Request, work: Callable[[], Result]) -> Result:
        """Return what `work` returns, run in a thread once it is its turn.

        Work that has begun is brought to its end, whoever waits for it.

        Raises
        ------
        Busy
            If too many calls wait already, or it has waited for too long.
        Stopping
            If the server ends meanwhile.
        ClientDisconnect
            If the client leaves before its turn; the work is not begun.
        """
        turn = object()
        try:
            self._turns.acquire_on_behalf_of_nowait(turn)
        except WouldBlock:
            await self._wait(request, turn)
        try:
            return await to_thread.run_sync(work, limiter=self._threads)
        except asyncio.CancelledError:
            # Only the server cancels a call whose work has begun, at the end of its patience.
            raise Stopping from None
        finally:
            self._turns.release_on_behalf_of(turn)

    async def _wait(self, request: Request, turn: object) -> None:
        if self.n_waiting >= self._most_waiting:
            raise Busy
        self.n_waiting += 1
        left = False

        async def watch() -> None:
            nonlocal left
            while (await request.receive())["type"] != "http.disconnect":
                pass
            left = True
            waiting.cancel()

        try:
            with CancelScope(deadline=current_time() + self._patience_seconds) as waiting:
                watching = asyncio.create_task(watch())
                try:
                    await self._turns.acquire_on_behalf_of(turn)
                finally:
                    watching.cancel()
        finally:
            self.n_waiting -= 1
        if waiting.cancelled_caught:
            raise ClientDisconnect if left else Busy


class Pools(NamedTuple):
    """The pools of one server.

    `quick` is for computing that is known to be short before its body is read, so that a single line of plants does
    not wait for the comparisons of others.
    """

    computing: Pool
    quick: Pool
    reading: Pool
    changing: Pool
    reference: Pool

    @classmethod
    def of_this_computer(cls) -> "Pools":
        """Return new pools, as many threads for computing as there are cores, and at least two."""
        return cls(
            computing=Pool(max(2, os.cpu_count() or 1), 32),
            quick=Pool(2, 128),
            reading=Pool(4, 64),
            changing=Pool(4, 64),
            reference=Pool(2, 128),
        )


def pools_of(request: Request) -> Pools:
    """Return the pools of the server that answers a call."""
    pools: Pools = request.app.state.pools
    return pools
