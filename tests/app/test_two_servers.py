"""Two servers, each a process of its own, on one ledger.

The tests share both: the first finds no tables, and after the last calls need a key.
"""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from threading import Barrier

import httpx
import pytest

from app.http.api_keys import new_key
from app.store.api_keys import Scope, add_key, revoke_key
from app.store.database import Database
from app.store.shipments import arrived_shipments
from tests.app.fits import FEW_DRAWS, likely_ledger
from tests.app.ledger_files import csv_bytes, random_ledger, row
from tests.app.past_versions import past_versions
from tests.app.servers import server, until
from tests.moments import NOW

N_ROUNDS = 4


@pytest.fixture(scope="module")
def servers(module_url: str) -> Iterator[tuple[httpx.Client, httpx.Client]]:
    """Yield clients of two servers that fit fast and roughly."""
    fast = {"TRANSIT_REFIT_DRAWS": str(FEW_DRAWS)}
    with server(module_url, **fast) as one, server(module_url, **fast) as two:
        yield one, two


@pytest.fixture
def ledger(module_url: str) -> Iterator[Database]:
    """Yield their ledger, as this process opens it."""
    with Database(module_url) as opened:
        yield opened


def both(one: httpx.Client, two: httpx.Client, path: str, content: bytes = b"") -> list[httpx.Response]:
    """Post to both servers at the same moment."""
    ready = Barrier(2)

    def post(client: httpx.Client) -> httpx.Response:
        ready.wait()
        return client.post(path, content=content)

    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(post, (one, two)))


@pytest.mark.long
def test_a_file_imported_by_both_at_once_is_taken_once(
    servers: tuple[httpx.Client, httpx.Client], ledger: Database
) -> None:
    """Also the very first, when neither finds any tables."""
    n_rows = 90
    one, two = servers
    for n in range(N_ROUNDS):
        data = random_ledger(n_rows, n).replace(b"box-", f"round-{n}-".encode())
        answers = [answer.json() for answer in both(one, two, "/v1/shipments/import", data)]
        counts = sorted((answer["added"], answer["unchanged"]) for answer in answers)
        assert counts == [(0, n_rows // 3), (n_rows // 3, 0)]
        assert all(answer["replaced"] == 0 for answer in answers)
    assert one.get("/v1/shipments/export").content == two.get("/v1/shipments/export").content
    with ledger.reading() as connection:
        names = [stored.record.shipment for stored in arrived_shipments(connection)]
    assert len(names) == len(set(names)) == N_ROUNDS * n_rows // 3


def test_of_two_corrections_at_once_none_is_lost(servers: tuple[httpx.Client, httpx.Client], ledger: Database) -> None:
    """Both replace the box otherwise: the second to come keeps the first in its history."""
    name = "corrected twice"
    first = csv_bytes(row(shipment=name, healthy="20", damaged="0", dead="0"))
    servers[0].post("/v1/shipments/import", content=first).raise_for_status()
    files = [csv_bytes(row(shipment=name, healthy=str(h), damaged="0", dead=str(20 - h))) for h in (12, 13)]
    ready = Barrier(2)

    def replace(client: httpx.Client, data: bytes) -> int:
        ready.wait()
        replaced: int = client.post("/v1/shipments/import?replace=true", content=data).json()["replaced"]
        return replaced

    with ThreadPoolExecutor(2) as pool:
        assert list(pool.map(replace, servers, files)) == [1, 1]
    with ledger.reading() as connection:
        [stored] = [found for found in arrived_shipments(connection) if found.record.shipment == name]
        past = past_versions(connection, stored.id)
    healthy = [version.snapshot["lines"][0]["healthy"] for version in past]
    assert len(healthy) == 2
    assert healthy[0] == 20
    assert {healthy[1], stored.record.lines[0].healthy} == {12, 13}


def test_a_refit_asked_of_both_at_once_is_one(database_url: str) -> None:
    """On a ledger of their own, which is small and quickly fitted."""
    fast = {"TRANSIT_REFIT_DRAWS": str(FEW_DRAWS)}
    with server(database_url, **fast) as one, server(database_url, **fast) as two:
        one.post("/v1/shipments/import", content=likely_ledger(8, 1)).raise_for_status()
        answers = both(one, two, "/v1/model/refit")
        assert {answer.status_code for answer in answers} == {202}
        places = {answer.headers["location"] for answer in answers}

        def ended() -> bool:
            states = [client.get(place).json()["state"] for place in places for client in (one, two)]
            assert states.count("running") <= 2  # as both servers see it
            return not {"queued", "running"} & set(states)

        until(ended)
        served = {client.get("/v1/model/versions").json()["items"][0]["version"] for client in (one, two)}
        assert len(served) == 1


def test_a_key_revoked_is_refused_by_both(servers: tuple[httpx.Client, httpx.Client], ledger: Database) -> None:
    """Made and revoked by a third process: this one. The last test, since from here on calls need a key."""
    scopes: list[Scope] = ["read", "write"]
    made = [new_key(f"till to {scope}", scope, now=NOW) for scope in scopes]
    other, kept = new_key("office", "read", now=NOW)
    assert [client.get("/v1/genera").status_code for client in servers] == [200, 200]
    with ledger.writing() as connection:
        for stored in (*(stored for _, stored in made), kept):
            add_key(connection, stored)

    def status(client: httpx.Client, sent: str | None) -> int:
        headers = {} if sent is None else {"authorization": f"Bearer {sent}"}
        return client.get("/v1/genera", headers=headers).status_code

    def statuses(sent: str) -> list[int]:
        return [status(client, sent) for client in servers]

    def is_refused(client: httpx.Client, sent: str | None) -> bool:
        return status(client, sent) == 401

    def wait_until_refused(sent: str | None) -> None:
        # One server after the other: none is sent so many wrong keys that it stops looking at them.
        for client in servers:
            until(partial(is_refused, client, sent))

    wait_until_refused(None)
    for key, stored in made:
        assert statuses(key) == [200, 200]
        with ledger.writing() as connection:
            revoke_key(connection, stored.id, now=stored.created_at)
        wait_until_refused(key)
        assert statuses(other) == [200, 200]
