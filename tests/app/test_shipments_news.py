"""News of a box: departure, events, loss; the order of refusals; deletion."""

import pytest
from sqlalchemy import select

from app.store.database import Database
from app.store.schema import events, lines, shipment_history, shipments
from tests.app.batches import Fields
from tests.app.client import Client
from tests.app.shipment_calls import (
    ARRIVAL,
    DEPARTED,
    HELD,
    LOST,
    PATH,
    RECHECK,
    Box,
    errors,
    planned,
)


def test_departure_puts_a_box_in_transit(ledger_client: Client) -> None:
    box = Box(ledger_client)
    before = box.etag
    answer = box.depart()
    assert (answer["state"], answer["departed_at"]) == ("in_transit", "2027-01-11T02:00:00Z")
    assert box.etag != before
    assert box.get() == answer


def test_departed_event_is_a_departure(ledger_client: Client) -> None:
    box = Box(ledger_client)
    answer = box.done("PATCH", json={"events": [{"at": DEPARTED, "kind": "departed"}, HELD]})
    assert (answer["state"], answer["departed_at"]) == ("in_transit", "2027-01-11T02:00:00Z")
    assert [event["kind"] for event in answer["events"]] == ["departed", "held"]


def test_local_day_of_departure_is_the_day_of_shipping(ledger_client: Client, database: Database) -> None:
    """23:00 UTC on the 14th is 06:00 on the 15th in Semarang (UTC+7)."""
    Box(ledger_client).depart(departed_at="2027-01-14T23:00:00Z")
    with database.reading() as connection:
        assert connection.execute(select(shipments.c.ship_date)).scalar_one().isoformat() == "2027-01-15"


def test_events_are_added_and_equal_ones_ignored(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart(events=[HELD])
    etag = box.etag
    # The same moment, written with another offset.
    same = HELD | {"at": "2027-01-13T15:00:00+07:00"}
    assert len(box.done("PATCH", json={"events": [same, HELD]})["events"]) == 1
    assert len(box.done("PATCH", json={"events": []})["events"]) == 1
    assert box.etag == etag
    earlier = {"at": "2027-01-12T08:00:00Z", "kind": "at_hub"}
    kinds = [event["kind"] for event in box.done("PATCH", json={"events": [earlier]})["events"]]
    assert kinds == ["at_hub", "held"]
    late = box.call("PATCH", json={"departed_at": "2027-01-12T09:00:00Z"})
    assert errors(late) == [("/departed_at", "must not be after what was heard of the box on its way")]


def test_lost_box_is_lost_until_it_is_heard_of_again(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart()
    assert box.done("PATCH", json={"events": [LOST]})["state"] == "lost"
    assert box.done("PATCH", json={"events": [HELD]})["state"] == "lost"
    found = {"at": "2027-02-25T08:00:00Z", "kind": "at_hub"}
    assert box.done("PATCH", json={"events": [found]})["state"] == "in_transit"


def test_lost_box_may_arrive_after_all(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart(events=[LOST])
    assert box.arrive(arrived_at="2027-03-01T08:00:00Z")["state"] == "arrived"


@pytest.mark.parametrize(
    ("body", "pointer", "message"),
    [
        ({"events": [HELD]}, "/events/0/kind", "needs a departure"),
        ({"departed_at": DEPARTED, "events": [HELD | {"at": "2027-01-10T08:00:00Z"}]}, "/events/0/at",
         "must not be before the departure"),
        ({"departed_at": "2027-01-11T09:00:00"}, "/departed_at", "must be a moment of ISO 8601 with its offset"),
        ({"departed_at": "1800000000"}, "/departed_at", "must be a moment of ISO 8601 with its offset"),
        ({"departed_at": 1800000000}, "/departed_at", "must be a moment of ISO 8601 with its offset"),
        ({"events": [HELD | {"kind": "opened"}]}, "/events/0/kind", "must be departed, at_hub"),
        ({"events": [HELD | {"note": "a\0b"}]}, "/events/0/note", "must be a text of up to 120 characters, none"),
        ({"state": "lost"}, "/state", "is not known here"),
    ],
)  # fmt: skip
def test_bad_news(ledger_client: Client, body: Fields, pointer: str, message: str) -> None:
    box = Box(ledger_client)
    before = box.get()
    response = box.call("PATCH", json=body)
    [(where, said)] = errors(response)
    assert (response.status_code, where) == (422, pointer)
    assert said.startswith(message)
    assert box.get() == before


def test_journey_is_closed_by_the_arrival(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart(events=[HELD])
    assert box.call("PATCH", json={"arrived_at": DEPARTED}).status_code == 409
    box.arrive()
    before = box.get()
    assert box.call("PATCH", json={"events": [HELD | {"kind": "released"}]}).status_code == 409
    # What is recorded already changes nothing.
    assert box.call("PATCH", json={"departed_at": DEPARTED, "events": [HELD]}).status_code == 200
    assert box.get() == before
    corrected = box.arrive(departed_at="2027-01-12T09:00:00+07:00")
    assert corrected["departed_at"] == "2027-01-12T02:00:00Z"


def test_times_are_corrected_after_the_arrival_and_kept(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client)
    box.depart()
    late = box.call("PATCH", json={"events": [HELD], "departed_at": "2027-01-18T12:00:00Z"})
    assert [pointer for pointer, _ in errors(late)] == ["/events/0/at"]
    box.arrive()
    before = box.get()["arrival"]
    assert before["arrived_at"] == before["opened_at"] == "2027-01-16T10:00:00Z"
    answer = box.done("PATCH", json={"departed_at": "2027-01-12T02:00:00Z", "arrived_at": "2027-01-17T12:00:00Z"})
    arrival = answer["arrival"]
    assert (answer["departed_at"], arrival["arrived_at"]) == ("2027-01-12T02:00:00Z", "2027-01-17T12:00:00Z")
    assert arrival["opened_at"] == arrival["arrived_at"], "an opening at the delivery goes with it"
    assert arrival["transit_days"] == pytest.approx(5 + 10 / 24)
    assert arrival["lines"] == before["lines"]
    with database.reading() as connection:
        reasons = connection.execute(select(shipment_history.c.reason)).scalars().all()
    assert reasons.count("news") == 2
    # A fault between two steps is said at both.
    for field, moment, faulty in (
        ("departed_at", "2027-01-18T12:00:00Z", {"/arrived_at", "/departed_at"}),
        ("opened_at", "2027-01-17T11:00:00Z", {"/arrived_at", "/opened_at"}),
        ("arrived_at", "2029-01-17T11:00:00Z", {"/arrived_at"}),
    ):
        assert {pointer for pointer, _ in errors(box.call("PATCH", json={field: moment}))} >= faulty


def test_steps_are_taken_back_from_the_last_to_the_first(ledger_client: Client) -> None:
    box = Box(ledger_client)
    planned_answer = box.get()
    lost = {"at": "2027-01-14T08:00:00Z", "kind": "lost"}

    def taken(step: str) -> Fields:
        return box.done("POST", "/take-back", json={"step": step})

    def refused(step: str) -> str:
        answer = box.call("POST", "/take-back", json={"step": step})
        assert answer.status_code == 409
        return str(answer.json()["detail"])

    assert refused("departure") == "No departure is recorded: there is nothing to take back."
    on_its_way = box.depart(events=[HELD])
    assert box.done("PATCH", json={"events": [lost]})["state"] == "lost"
    assert "take that back first" in refused("departure")
    assert taken("event")["state"] == "in_transit"
    box.arrive()
    box.done("PUT", "/recheck", json=RECHECK)
    box.done("PATCH", json={"claim": {"outcome": "refused"}})
    assert "claim is recorded later" in refused("arrival")
    assert taken("claim")["claim"] is None
    assert refused("arrival").startswith("The recheck is recorded later")
    assert taken("recheck")["recheck"] is None
    back = taken("arrival")
    same = ("state", "arrival", "events", "departed_at", "doubtful", "next_steps")
    assert {name: back[name] for name in same} == {name: on_its_way[name] for name in same}
    assert taken("event")["events"] == []
    back = taken("departure")
    assert {name: back[name] for name in same} == {name: planned_answer[name] for name in same}
    # It can go the whole way again, or be deleted.
    box.depart()
    assert box.arrive()["state"] == "arrived"
    taken("arrival")
    taken("departure")
    assert box.call("DELETE").status_code == 204


def test_refusals_come_in_order(ledger_client: Client) -> None:
    """404, 428, 412, 422, 409: each call below has all faults from its own on."""
    box = Box(ledger_client)
    stale = box.etag
    box.depart()
    box.arrive()
    bad: Fields = {"content": b'{"events": 3}'}
    unknown = f"{PATH}/s{'0' * 24}"
    client = ledger_client
    assert client.request("PATCH", unknown, **bad).status_code == 404
    assert client.request("PATCH", box.path, **bad).status_code == 428
    assert client.request("PATCH", box.path, headers={"if-match": stale}, **bad).status_code == 412
    assert box.call("PATCH", **bad).status_code == 422
    assert box.call("PATCH", json={"events": [LOST]}).status_code == 409
    assert client.request("DELETE", unknown).status_code == 404
    assert client.request("DELETE", box.path).status_code == 428
    assert client.request("DELETE", box.path, headers={"if-match": stale}).status_code == 412
    assert box.call("DELETE").status_code == 409


@pytest.mark.parametrize("end", ["/arrival", "/recheck"])
def test_first_put_needs_if_match_too(ledger_client: Client, end: str) -> None:
    box = Box(ledger_client)
    response = ledger_client.request("PUT", box.path + end, json=ARRIVAL)
    assert (response.status_code, response.json()["code"]) == (428, "precondition_required")
    response = ledger_client.request("PUT", box.path + end, json=ARRIVAL, headers={"if-match": f"W/{box.etag}"})
    assert (response.status_code, response.json()["code"]) == (412, "precondition_failed")
    assert box.get()["state"] == "planned"


def test_one_etag_for_the_whole_shipment(ledger_client: Client) -> None:
    box = Box(ledger_client)
    tags = [box.etag]
    box.depart()
    tags.append(box.etag)
    box.arrive()
    tags.append(box.etag)
    box.done("PUT", "/recheck", json=RECHECK)
    tags.append(box.etag)
    assert len(set(tags)) == 4
    assert ledger_client.get(box.path).headers["etag"] == tags[-1]


def test_delete(ledger_client: Client) -> None:
    box = Box(ledger_client)
    response = box.call("DELETE")
    assert (response.status_code, response.content) == (204, b"")
    assert ledger_client.get(box.path).status_code == 404
    gone = Box(ledger_client)
    gone.depart()
    assert gone.call("DELETE").status_code == 409


def test_events_of_a_deleted_plan_go_with_it(ledger_client: Client, database: Database) -> None:
    planned(ledger_client)
    box = Box(ledger_client)
    box.call("DELETE")
    with database.reading() as connection:
        assert connection.execute(select(events)).all() == []
        assert len(connection.execute(select(lines)).all()) == 2


def test_document_names_what_the_calls_read(ledger_client: Client) -> None:
    document = ledger_client.get("/openapi.json").json()["paths"]

    def named(path: str, method: str) -> set[tuple[str, str]]:
        return {(parameter["in"], parameter["name"]) for parameter in document[path][method].get("parameters", ())}

    one = f"{PATH}/{{shipment_id}}"
    assert named(PATH, "post") == {("header", "Idempotency-Key")}
    assert named(PATH, "get") == {("query", name) for name in ("state", "reference", "limit", "cursor")}
    assert named(one, "get") == {("path", "shipment_id")}
    for path, method in ((one, "patch"), (one, "delete"), (f"{one}/arrival", "put"), (f"{one}/recheck", "put")):
        assert named(path, method) == {("path", "shipment_id"), ("header", "If-Match")}
    assert "409" in document[one]["patch"]["description"]
