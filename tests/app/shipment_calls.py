"""An invented shipment and the calls of its life."""

from typing import Any

import httpx

from app.store.arrived import read_arrived
from app.store.database import Database
from tests.app.batches import BATCH, COURIER, MONDAY, Fields, line
from tests.app.client import Client

PATH = "/v1/shipments"
PLAN: Fields = BATCH | {
    "ship_date": MONDAY,
    "seller": "Invented Ferns",
    "routes": [COURIER],
    "lines": [line("Aglaonema", 20), line("Hoya", 12, cultivar="Nowhere", unit_cost=12)],
    "draws": 256,
}
DEPARTED = "2027-01-11T09:00:00+07:00"
ARRIVED = "2027-01-16T10:00:00+00:00"
COUNTS = [
    {"line": 0, "healthy": 15, "damaged": 3, "dead": 2},
    {"line": 1, "sent": 10, "healthy": 9, "damaged": 0, "dead": 1},
]
ARRIVAL: Fields = {"arrived_at": ARRIVED, "lines": COUNTS}
RECHECK: Fields = {
    "checked_at": "2027-01-30T12:00:00+00:00",
    "lines": [
        {"line": 0, "healthy": 13, "damaged": 2, "dead": 2, "gone": 1},
        {"line": 1, "healthy": 9, "damaged": 0, "dead": 0},
    ],
}
HELD = {"at": "2027-01-13T08:00:00Z", "kind": "held", "note": "permit asked for"}
LOST = {"at": "2027-02-20T08:00:00Z", "kind": "lost", "note": ""}


def first_line(**fields: Any) -> Fields:
    """Return counts of which the first line has fields changed."""
    return {"lines": [COUNTS[0] | fields, COUNTS[1]]}


def errors(response: httpx.Response) -> list[tuple[str, str]]:
    """Return (pointer, message) of what is wrong with a call."""
    assert response.headers["content-type"] == "application/problem+json"
    return [(error["pointer"], error["message"]) for error in response.json()["errors"]]


def revisions(database: Database) -> tuple[list[int], list[int]]:
    """Return the revisions of the ledger that brought each arrival, and that last changed what a fit reads of it."""
    with database.reading() as connection:
        table = read_arrived(connection).shipments
    return table.arrived_revision.tolist(), table.corrected_revision.tolist()


def planned(client: Client, **fields: Any) -> httpx.Response:
    """Plan the invented shipment with fields changed."""
    response = client.post(PATH, json=PLAN | fields)
    assert response.status_code == 201, response.text
    return response


class Box:
    """A shipment that is followed: each call is made with the ETag of the one before."""

    def __init__(self, client: Client, **fields: Any) -> None:
        """Plan it."""
        self.client = client
        first = planned(client, **fields)
        self.path, self.etag = first.headers["location"], first.headers["etag"]
        self.id: str = first.json()["id"]

    def call(self, method: str, path: str = "", **arguments: Any) -> httpx.Response:
        """Call with the last ETag, and remember the new one."""
        headers = {"if-match": self.etag} | arguments.pop("headers", {})
        response = self.client.request(method, self.path + path, headers=headers, **arguments)
        self.etag = response.headers.get("etag", self.etag)
        return response

    def done(self, method: str, path: str = "", **arguments: Any) -> Fields:
        """Call, and return the answer to a call that succeeds."""
        response = self.call(method, path, **arguments)
        assert response.status_code == 200, response.text
        answer: Fields = response.json()
        return answer

    def depart(self, **fields: Any) -> Fields:
        """Record the departure."""
        return self.done("PATCH", json={"departed_at": DEPARTED} | fields)

    def arrive(self, **fields: Any) -> Fields:
        """Record the arrival."""
        return self.done("PUT", "/arrival", json=ARRIVAL | fields)

    def get(self) -> Fields:
        """Return it as it is now."""
        return self.done("GET")
