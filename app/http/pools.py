"""Threads for the work of calls, in pools of their own, so that no kind of call holds up another.

Computing is bound by the processor, so it has a thread a core: more would only hold more draws in memory. Changes wait
for each other at the ledger's lock, and must not hold up who only reads it.
"""

import asyncio
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from time import monotonic
from typing import NamedTuple, TypeVar

from anyio import CancelScope, CapacityLimiter, WouldBlock, move_on_after, to_thread
from starlette.requests import ClientDisconnect, Request

from app.http.calls import note_turn
from app.problems import Busy, Stopping

# A call that waits for longer is refused: by then most clients have given up.
PATIENCE_SECONDS = 20.0
Result = TypeVar("Result")


class Pool:
    """So many threads, and a queue of calls that wait for one, in the order they came.

    Work that only computes is given up once its client has left, at the next place where it looks
    (`app.abandoned.end_if_abandoned`); work that changes the ledger is brought to its end.
    """

    def __init__(
        self,
        n_threads: int,
        most_waiting: int,
        *,
        only_computes: bool = False,
        patience_seconds: float = PATIENCE_SECONDS,
        name: str = "",
    ) -> None:
        """Take the number of threads, how many calls may wait for one and for how long, and a name for the log."""
        # A turn is held for a call while it waits; the thread is then free, and the call cannot wait for it twice.
        self._turns, self._threads = CapacityLimiter(n_threads), CapacityLimiter(n_threads)
        self._most_waiting, self._patience_seconds = most_waiting, patience_seconds
        self._only_computes = only_computes
        self.name, self.n_threads = name, n_threads
        self.n_waiting = self.n_refused = 0

    @property
    def n_working(self) -> int:
        """How many of its threads work."""
        return self._turns.borrowed_tokens

    async def run(self, request: Request, work: Callable[[], Result]) -> Result:
        """Return what `work` returns, run in a thread once it is its turn.

        Raises
        ------
        Busy
            If too many calls wait already, or it has waited for too long.
        Stopping
            If the server ends meanwhile.
        ClientDisconnect
            If the client leaves before its turn, the work is not begun then; or before work that only computes is done.
        """
        turn, came = object(), monotonic()
        begun = None
        try:
            try:
                self._turns.acquire_on_behalf_of_nowait(turn)
            except WouldBlock:
                await self._wait(request, turn)
            begun = monotonic()
            return await self._work(request, work)
        finally:
            now = monotonic()
            if begun is not None:
                self._turns.release_on_behalf_of(turn)
            note_turn(self.name, (begun or now) - came, now - (begun or now))

    async def _work(self, request: Request, work: Callable[[], Result]) -> Result:
        client: AbstractContextManager[CancelScope | None]
        client = _while_client_stays(request) if self._only_computes else nullcontext()
        with client as stays:
            try:
                result = await to_thread.run_sync(work, limiter=self._threads)
            except asyncio.CancelledError:
                if stays is not None and stays.cancel_called:
                    raise
                # The server cancels calls at the end of its patience.
                raise Stopping from None
        return result

    async def _wait(self, request: Request, turn: object) -> None:
        if self.n_waiting >= self._most_waiting:
            self.n_refused += 1
            raise Busy
        self.n_waiting += 1
        try:
            with _while_client_stays(request), move_on_after(self._patience_seconds) as waiting:
                await self._turns.acquire_on_behalf_of(turn)
        finally:
            self.n_waiting -= 1
        if waiting.cancelled_caught:
            self.n_refused += 1
            raise Busy


@contextmanager
def _while_client_stays(request: Request) -> Iterator[CancelScope]:
    """Cancel what is within once the client has left, and raise `ClientDisconnect` where that ended it."""

    async def watch() -> None:
        while (await request.receive())["type"] != "http.disconnect":
            pass
        within.cancel()

    with CancelScope() as within:
        watching = asyncio.create_task(watch())
        try:
            yield within
        finally:
            watching.cancel()
    if within.cancelled_caught:
        raise ClientDisconnect


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
            computing=Pool(max(2, os.cpu_count() or 1), 32, only_computes=True, name="computing"),
            quick=Pool(2, 128, name="quick"),
            reading=Pool(4, 64, name="reading"),
            changing=Pool(4, 64, name="changing"),
            reference=Pool(2, 128, name="reference"),
        )


def pools_of(request: Request) -> Pools:
    """Return the pools of the server that answers a call."""
    pools: Pools = request.app.state.pools
    return pools
