"""Guards: who may call without a key, and how much a body may carry."""

from collections.abc import AsyncIterator, Iterator
from ipaddress import IPv4Address

import pytest
from fastapi import FastAPI, Request
from pydantic import ValidationError

from app.guards import BodyLimit, LoopbackOnly
from app.problem_handlers import add_problem_handlers
from app.settings import Settings, is_loopback
from tests.app.client import Client, running_client

LIMIT_BYTES = 2**20
ANYWHERE = str(IPv4Address(0))


@pytest.fixture(scope="module")
def guarded() -> Iterator[Client]:
    """Yield a client of an application that counts the bytes it is sent."""
    app = FastAPI()
    add_problem_handlers(app)
    app.add_middleware(BodyLimit, limit_bytes=LIMIT_BYTES)
    app.add_middleware(LoopbackOnly)

    @app.post("/count")
    async def count(request: Request) -> int:
        return len(await request.body())

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


@pytest.mark.parametrize(
    ("host", "loopback"),
    [("127.0.0.1", True), ("localhost", True), ("::1", True), (ANYWHERE, False), ("::", False), ("shop", False)],
)
def test_server_binds_to_loopback_only(host: str, loopback: bool) -> None:
    assert is_loopback(host) == loopback
    if loopback:
        assert Settings(host=host).host == host
    else:
        with pytest.raises(ValidationError, match="must be a loopback address"):
            Settings(host=host)


def test_settings_come_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRANSIT_PORT", "8123")
    assert Settings().port == 8123
    assert Settings(port=8124).port == 8124
