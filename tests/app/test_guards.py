"""Guards: who may call without a key, and how much a body may carry."""

from collections.abc import AsyncIterator, Iterator
from ipaddress import IPv4Address

import httpx
import pytest
from anyio import move_on_after, sleep_forever
from fastapi import FastAPI, Request

from app.http.guards import DISCARD_LIMIT_BYTES, JSON_LIMIT_BYTES, BodyLimit, LoopbackOnly
from app.http.problem_handlers import add_problem_handlers
from app.routes.shipments import CSV_LIMIT_BYTES
from app.settings import Settings, is_loopback
from tests.app.client import Client, running_client

LIMIT_BYTES = 2**20
ANYWHERE = str(IPv4Address(0))


def counting(**limits: float) -> FastAPI:
    """Return an application that counts the bytes it is sent."""
    app = FastAPI()
    add_problem_handlers(app)
    app.add_middleware(BodyLimit, limit_bytes=LIMIT_BYTES, **limits)

    @app.post("/count")
    async def count(request: Request) -> int:
        return len(await request.body())

    return app


@pytest.fixture(scope="module")
def guarded() -> Iterator[Client]:
    """Yield a client of an application that only this computer may call."""
    app = counting()
    app.add_middleware(LoopbackOnly)
    with running_client(app) as client:
        yield client


async def chunks(*sizes: int) -> AsyncIterator[bytes]:
    """Yield a body piece by piece, its length undeclared."""
    for size in sizes:
        yield b" " * size


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"host": "localhost:8000"},
        {"host": "LOCALHOST"},
        {"host": "127.8.9.1:9"},
        {"host": "[::1]:8000"},
        {"origin": "http://127.0.0.1:8000"},
        {"host": "localhost", "origin": "http://localhost:80"},
    ],
)
def test_this_computer_may_call(guarded: Client, headers: dict[str, str]) -> None:
    assert guarded.post("/count", content=b"123", headers=headers).json() == 3


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "shop.example"},
        {"host": "127.0.0.1.shop.example"},
        {"host": "192.168.1.4:8000"},
        {"host": "localhost@shop.example"},
        {"host": "localhost:port"},
        {"host": ""},
        {"origin": "http://shop.example"},
        {"origin": "http://127.0.0.1:8001"},
        {"origin": "http://localhost:8000"},
        {"origin": "https://127.0.0.1"},
        {"origin": "null"},
        {"origin": "file://127.0.0.1:8000"},
        {"origin": "http://127.0.0.1:8000/page"},
    ],
)
def test_foreign_host_or_origin_is_refused(guarded: Client, headers: dict[str, str]) -> None:
    response = guarded.post("/count", content=b"123", headers=headers)
    assert (response.status_code, response.json()["code"]) == (403, "forbidden")


def test_body_at_the_limit_is_taken(guarded: Client) -> None:
    assert guarded.post("/count", content=b" " * LIMIT_BYTES).json() == LIMIT_BYTES
    assert guarded.post("/count", content=chunks(LIMIT_BYTES - 1, 1)).json() == LIMIT_BYTES


@pytest.mark.parametrize("sizes", [(LIMIT_BYTES + 1,), (LIMIT_BYTES, 1), (LIMIT_BYTES, LIMIT_BYTES, LIMIT_BYTES)])
def test_body_over_the_limit_is_refused_as_it_streams(guarded: Client, sizes: tuple[int, ...]) -> None:
    response = guarded.post("/count", content=chunks(*sizes))
    assert (response.status_code, response.headers["content-type"]) == (413, "application/problem+json")
    assert response.json()["errors"] == [{"pointer": "", "message": "must be at most 1 MB"}]


def test_declared_length_over_the_limit_is_refused(guarded: Client) -> None:
    declared = {"content-length": str(LIMIT_BYTES + 1)}
    assert guarded.post("/count", content=b"one piece of it", headers=declared).status_code == 413


class Dripping(httpx.AsyncByteStream):
    """A body of which nothing more comes after its first bytes."""

    async def __aiter__(self) -> AsyncIterator[bytes]:
        """Yield the first bytes."""
        yield b"1"
        await sleep_forever()


@pytest.mark.parametrize("declared", [{}, {"content-length": "9"}, {"content-length": str(LIMIT_BYTES + 1)}])
def test_body_that_does_not_come_is_not_waited_for(declared: dict[str, str]) -> None:
    app = counting(patience_seconds=0.05)
    with running_client(app) as client:
        response = client.post("/count", content=Dripping(), headers=declared)
    too_large = "content-length" in declared and int(declared["content-length"]) > LIMIT_BYTES
    assert (response.status_code, response.json()["code"]) == ((413, "too_large") if too_large else (408, "too_slow"))
    assert response.headers["content-type"] == "application/problem+json"


def test_the_end_of_a_connection_is_waited_for_as_long_as_an_answer_takes() -> None:
    """A route that listens for it gets no timeout: the body is complete."""
    app = counting(patience_seconds=0.05)

    @app.post("/listen")
    async def listen(request: Request) -> str:
        await request.body()
        with move_on_after(0.2) as listening:
            await request.receive()
        return "nothing came" if listening.cancelled_caught else "something came"

    with running_client(app) as client:
        assert client.post("/listen", content=b"1").json() == "nothing came"


def test_what_is_thrown_away_is_more_than_any_path_takes() -> None:
    assert max(JSON_LIMIT_BYTES, CSV_LIMIT_BYTES) * 2 <= DISCARD_LIMIT_BYTES


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"host": "plants.example"}, 200),
        ({"host": "plants.example", "origin": "https://plants.example"}, 200),
        ({"host": "plants.example:8443", "origin": "https://plants.example:8443"}, 200),
        ({"host": "192.168.1.4:8000", "origin": "http://192.168.1.4:8000"}, 200),
        ({"host": "plants.example", "origin": "https://shop.example"}, 403),
        ({"host": "plants.example", "origin": "https://plants.example:8443"}, 403),
        ({"host": "plants.example", "origin": "null"}, 403),
    ],
)
def test_where_keys_are_needed_the_name_is_free_and_the_page_is_not(headers: dict[str, str], status: int) -> None:
    app = counting()
    app.add_middleware(LoopbackOnly, keys_needed=lambda _: True)
    with running_client(app) as client:
        assert client.post("/count", content=b"123", headers=headers).status_code == status


@pytest.mark.parametrize(
    ("host", "loopback"),
    [("127.0.0.1", True), ("localhost", True), ("::1", True), (ANYWHERE, False), ("::", False), ("shop", False)],
)
def test_loopback_is_told_from_other_addresses(host: str, loopback: bool) -> None:
    assert is_loopback(host) == loopback


def test_settings_come_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRANSIT_PORT", "8123")
    assert Settings().port == 8123
    assert Settings(port=8124).port == 8124
