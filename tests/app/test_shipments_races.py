"""Several writers at once: threads of one server, and two servers in processes of their own on one database."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from threading import Barrier
from typing import Any

import httpx
import pytest

from app.store.database import Database
from tests.app.batches import Fields
from tests.app.client import Client
from tests.app.servers import server
from tests.app.shipment_calls import ARRIVAL, DEPARTED, PATH, PLAN

ROUNDS = 6
START = datetime(2027, 1, 12, tzinfo=UTC)


Server = Client | httpx.Client


@pytest.fixture(scope="module")
def two_servers(module_url: str) -> Iterator[list[Server]]:
    """Yield clients of two servers in processes of their own, on one ledger."""
    with Database(module_url) as database:
        database.prepare()
    with ExitStack() as stack:
        yield [stack.enter_context(server(module_url)) for _ in range(2)]


def at_once(servers: list[Server], call: Callable[[Server, int], httpx.Response]) -> list[httpx.Response]:
    """Make a call to each server, all of them at the same moment, and return the responses in order."""
    ready = Barrier(len(servers))

    def one(i: int) -> httpx.Response:
        ready.wait()
        return call(servers[i], i)

    with ThreadPoolExecutor(len(servers)) as pool:
        return list(pool.map(one, range(len(servers))))


def statuses(responses: list[httpx.Response]) -> list[int]:
    return sorted(response.status_code for response in responses)


def plan(server: Server, **fields: Any) -> tuple[str, str]:
    """Return path and ETag of a new shipment that has departed."""
    response = server.request("POST", PATH, json=PLAN | fields)
    assert response.status_code == 201, response.text
    path = response.headers["location"]
    tag = {"if-match": response.headers["etag"]}
    departed = server.request("PATCH", path, json={"departed_at": DEPARTED}, headers=tag)
    assert departed.status_code == 200, departed.text
    return path, departed.headers["etag"]


def heard(hours: int, who: int) -> Fields:
    moment = START + timedelta(hours=hours)
    return {"events": [{"at": moment.isoformat(), "kind": "at_hub", "note": f"by {who}"}]}


def one_of_two_changes_wins(servers: list[Server]) -> None:
    path, tag = plan(servers[0])
    for i in range(ROUNDS):

        def change(server: Server, who: int, tag: str = tag, i: int = i) -> httpx.Response:
            return server.request("PATCH", path, json=heard(i, who), headers={"if-match": tag})

        responses = at_once(servers, change)
        assert statuses(responses) == [200] + [412] * (len(servers) - 1)
        tag = servers[-1].request("GET", path).headers["etag"]
        assert tag == next(r for r in responses if r.status_code == 200).headers["etag"]
    assert len(servers[0].request("GET", path).json()["events"]) == ROUNDS


def every_change_is_kept(servers: list[Server]) -> None:
    """Writers that read again after a 412 all come through, and nothing of them is lost."""
    path, _ = plan(servers[0])

    def change(server: Server, who: int) -> httpx.Response:
        for i in range(ROUNDS):
            while True:
                tag = server.request("GET", path).headers["etag"]
                response = server.request("PATCH", path, json=heard(i, who), headers={"if-match": tag})
                if response.status_code == 200:
                    break
                assert response.status_code == 412, response.text
        return response

    at_once(servers, change)
    notes = sorted(event["note"] for event in servers[0].request("GET", path).json()["events"])
    assert notes == sorted(f"by {who}" for who in range(len(servers)) for _ in range(ROUNDS))


def arrival_and_deletion(servers: list[Server]) -> None:
    """Of an arrival and a deletion of the same version one is done, and the other refused."""
    response = servers[0].request("POST", PATH, json=PLAN)
    path, tag = response.headers["location"], {"if-match": response.headers["etag"]}

    def change(server: Server, who: int) -> httpx.Response:
        if who == 0:
            return server.request("PUT", f"{path}/arrival", json=ARRIVAL, headers=tag)
        return server.request("DELETE", path, headers=tag)

    arrived, deleted = at_once(servers[:2], change)
    after = servers[0].request("GET", path)
    if deleted.status_code == 204:
        assert (arrived.status_code, after.status_code) == (404, 404)
    else:
        assert (arrived.status_code, deleted.status_code) == (200, 412)
        assert after.json()["state"] == "arrived"


def same_key_makes_one_shipment(servers: list[Server]) -> None:
    for i in range(ROUNDS):
        body, key = PLAN | {"reference": f"raced {i}"}, {"idempotency-key": f"key {i}"}

        def post(server: Server, who: int, body: Fields = body, key: dict[str, str] = key) -> httpx.Response:
            return server.request("POST", PATH, json=body, headers=key)

        responses = at_once(servers, post)
        made = {r.json()["id"] for r in responses if r.status_code == 201}
        assert len(made) == 1
        assert {r.status_code for r in responses} <= {201, 409}
        assert all("still runs" in r.json()["detail"] for r in responses if r.status_code == 409)
        again = [server.request("POST", PATH, json=body, headers=key) for server in servers]
        assert {r.json()["id"] for r in again} == made
        assert len({r.content for r in again}) == 1
    items = servers[0].request("GET", PATH).json()["items"]
    assert sum((item["reference"] or "").startswith("raced ") for item in items) == ROUNDS


def same_reference_is_given_once(servers: list[Server]) -> None:
    responses = at_once(servers, lambda server, _: server.request("POST", PATH, json=PLAN | {"reference": "one"}))
    assert statuses(responses) == [201] + [409] * (len(servers) - 1)


RACES = [
    one_of_two_changes_wins,
    every_change_is_kept,
    arrival_and_deletion,
    same_key_makes_one_shipment,
    same_reference_is_given_once,
]


@pytest.mark.parametrize("race", RACES)
def test_calls_to_one_server(ledger_client: Client, race: Callable[[list[Server]], None]) -> None:
    servers: list[Server] = [ledger_client] * 4
    race(servers)


def test_calls_to_two_servers(two_servers: list[Server]) -> None:
    for race in (one_of_two_changes_wins, every_change_is_kept, arrival_and_deletion, same_reference_is_given_once):
        race(two_servers)


def test_one_key_at_two_servers(two_servers: list[Server]) -> None:
    same_key_makes_one_shipment(two_servers)
