"""Pools of threads: what waits, what is refused, and what is never begun."""

from collections.abc import Awaitable, Callable
from functools import partial
from threading import Event as ThreadEvent

import anyio
import pytest
from anyio.from_thread import start_blocking_portal
from starlette.requests import ClientDisconnect, Request
from starlette.types import Message

from app.http.pools import PATIENCE_SECONDS, Pool
from app.problems import Busy
from tests.app.batches import hold
from tests.app.client import Client


def in_a_loop(run: Callable[[], Awaitable[None]]) -> None:
    """Run in an event loop of a thread of its own: the browser's tests leave one running in this."""
    with start_blocking_portal() as portal:
        portal.call(run)


def request_until(left: anyio.Event) -> Request:
    """Return a call whose client stays until the event is set."""

    async def receive() -> Message:
        await left.wait()
        return {"type": "http.disconnect"}

    return Request({"type": "http", "method": "GET", "path": "/", "headers": []}, receive)


def in_full_pool(
    most_waiting: int, test: Callable[[Pool], Awaitable[None]], *, patience_seconds: float = PATIENCE_SECONDS
) -> None:
    """Run a test in an event loop while the only thread of a pool works."""

    async def run() -> None:
        pool, done, begun = Pool(1, most_waiting, patience_seconds=patience_seconds), ThreadEvent(), anyio.Event()

        def work() -> None:
            anyio.from_thread.run_sync(begun.set)
            done.wait()

        async with anyio.create_task_group() as others:
            others.start_soon(pool.run, request_until(anyio.Event()), work)
            await begun.wait()
            try:
                await test(pool)
            finally:
                done.set()

    in_a_loop(run)


def never() -> None:
    raise AssertionError("begun")


def test_a_client_that_leaves_stops_its_queued_work_and_gives_up_its_place() -> None:
    async def test(pool: Pool) -> None:
        left, refused = anyio.Event(), []

        async def wait() -> None:
            try:
                await pool.run(request_until(left), never)
            except ClientDisconnect:
                refused.append("left")

        async with anyio.create_task_group() as waiting:
            waiting.start_soon(wait)
            await anyio.wait_all_tasks_blocked()
            assert pool.n_waiting == 1
            with pytest.raises(Busy):
                await pool.run(request_until(anyio.Event()), never)
            left.set()
        assert (refused, pool.n_waiting) == (["left"], 0)

    in_full_pool(1, test)


def test_a_client_that_leaves_stops_a_hold_between_two_of_its_days() -> None:
    """It leaves while the first of twenty holds is worked on."""
    begun, answered = anyio.Event(), []

    def work() -> None:
        anyio.from_thread.run_sync(begun.set)
        for _ in range(20):
            answered.append(hold())

    async def run() -> None:
        with pytest.raises(ClientDisconnect):
            await Pool(1, 0, only_computes=True).run(request_until(begun), work)

    in_a_loop(run)
    assert len(answered) <= 1


def test_work_that_changes_something_is_brought_to_its_end() -> None:
    left = anyio.Event()
    left.set()

    async def run() -> None:
        assert await Pool(1, 0).run(request_until(left), hold) is not None

    in_a_loop(run)


def test_a_call_that_waits_for_too_long_is_refused() -> None:
    async def test(pool: Pool) -> None:
        with pytest.raises(Busy):
            await pool.run(request_until(anyio.Event()), never)
        assert pool.n_waiting == 0

    in_full_pool(1, test, patience_seconds=0.0)


def test_a_full_queue_answers_503_with_retry_after_and_other_pools_answer(ledger_client: Client) -> None:
    state, done, begun = ledger_client.app.state, ThreadEvent(), ThreadEvent()
    state.pools = state.pools._replace(reading=Pool(1, 0))

    def work() -> None:
        begun.set()
        done.wait()

    try:
        ledger_client.start_task(partial(state.pools.reading.run, request_until(anyio.Event()), work))
        begun.wait()
        refused = ledger_client.get("/v1/shipments")
        assert (refused.status_code, refused.json()["code"]) == (503, "busy")
        assert int(refused.headers["retry-after"]) > 0
        assert ledger_client.get("/v1/genera").status_code == 200
    finally:
        done.set()
