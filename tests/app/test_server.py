"""The server's patience with clients that send slowly, over real sockets."""

import json
import socket
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from app.__main__ import main
from app.cli.server import PatientProtocol
from app.main import create_app
from app.settings import Settings
from tests.app.servers import PATIENCE_SECONDS, running_server, thread_server


class Hasty(PatientProtocol):
    """Waits a moment only."""

    head_seconds = 0.3


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """Yield the port of a server without a ledger."""
    file = tmp_path_factory.mktemp("server") / "ledger.db"
    with thread_server(create_app(Settings(database_url=f"sqlite:///{file}")), Hasty) as port:
        yield port


def connected(port: int) -> socket.socket:
    return socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_SECONDS)


HOST = b"Host: 127.0.0.1\r\n"


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Drip: ",
        # Answered at once, since the page is foreign; then its body never ends.
        b"POST /v1/risk HTTP/1.1\r\nHost: shop.example\r\nContent-Length: 1000\r\n\r\n1",
    ],
)
def test_a_client_that_never_ends_is_left(port: int, sent: bytes) -> None:
    """The server, and nobody else, closes the connection: reading comes to its end before the time of the test."""
    host = f"127.0.0.1:{port}".encode()
    with connected(port) as one:
        one.sendall(sent.replace(b"127.0.0.1", host))
        if sent.startswith(b"POST"):
            assert one.recv(12) == b"HTTP/1.1 403"
            one.sendall(b"2")
        while one.recv(4096):
            pass
        # Others are answered as ever.
        assert httpx.get(f"http://127.0.0.1:{port}/health").status_code == 200


def test_a_connection_is_kept_for_the_next_call(port: int) -> None:
    """A silent connection is closed meanwhile, so longer has passed than the patience with heads."""
    with httpx.Client(base_url=f"http://127.0.0.1:{port}") as client:
        first = client.get("/health").extensions["network_stream"].get_extra_info("client_addr")
        with connected(port) as silent:
            assert silent.recv(1) == b""
        second = client.get("/health").extensions["network_stream"].get_extra_info("client_addr")
    assert first == second


def test_a_body_with_two_lengths_carries_no_second_call(port: int) -> None:
    """The chunks end before the length does: the rest is a call of its own to who reads chunks."""
    head = f"POST /v1/risk HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"
    smuggled = f"GET /health HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"
    length = f"Content-Length: {5 + len(smuggled)}\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n"
    with connected(port) as one:
        one.sendall((head + length + smuggled).encode())
        answered = b""
        while part := one.recv(4096):
            answered += part
    assert answered.startswith(b"HTTP/1.1 400")
    assert answered.count(b"HTTP/1.1") == 1
    assert b'"code": "ambiguous_length"' in answered


def test_dripping_clients_do_not_keep_others_waiting(port: int) -> None:
    dripping = [connected(port) for _ in range(20)]
    try:
        for one in dripping:
            one.sendall(f"POST /v1/risk HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: 9\r\n\r\n[".encode())
        assert httpx.get(f"http://127.0.0.1:{port}/v1/genera").status_code == 200
    finally:
        for one in dripping:
            one.close()


def test_an_address_that_others_can_reach_needs_a_key_first(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """127.0.0.1 reaches a server on all addresses of this computer as well."""
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    everywhere = socket.inet_ntoa(bytes(4))
    serve = ["serve", "--host", everywhere, "--database-url", url]
    assert main(serve) == 2
    assert "make one first with: python -m app key new" in capsys.readouterr().err
    assert main(["key", "new", "--name", "office", "--scope", "read", "--database-url", url]) == 0
    key = capsys.readouterr().out.splitlines()[0]
    log: list[str] = []
    with running_server(url, everywhere, log, TRANSIT_TRUSTED_PROXIES="192.0.2.0/28") as address:
        genera = f"{address}/v1/genera"
        assert httpx.get(genera, headers={"x-forwarded-for": "192.0.2.77"}).status_code == 401
        assert httpx.get(genera, headers={"authorization": f"Bearer {key}"}).status_code == 200
    # From no proxy that is trusted: what it says of where the call comes from is not believed.
    addresses = [line["address"] for line in map(json.loads, log) if line["event"] in ("call", "key_refused")]
    assert addresses == ["127.0.0.1"] * 2
    assert main(["key", "revoke", key.split("_")[1], "--database-url", url]) == 0
    assert main(serve) == 2
