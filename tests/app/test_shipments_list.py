"""The list: pages, filters, cursors, and what waits to be done."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest

from app.boxes.shipment_pages import PageQuery, answer_page
from app.store.database import Database
from model.reference.tables import load_reference
from tests.app.batches import Fields
from tests.app.client import Client
from tests.app.ledger_files import csv_bytes, row
from tests.app.shipment_calls import PATH, RECHECK, Box, planned
from tests.moments import NOW


def page(client: Client, **parameters: Any) -> Fields:
    response = client.get(PATH, params=parameters)
    assert response.status_code == 200, response.text
    answer: Fields = response.json()
    return answer


def as_of(database: Database, day: str) -> Fields:
    """Return the list as it is at noon of a day, UTC."""
    now = datetime.fromisoformat(f"{day}T12:00:00+00:00")
    answer: Fields = answer_page(PageQuery(), database, load_reference(), now).model_dump(mode="json")
    return answer


def names(answer: Fields) -> list[str]:
    return [item["reference"] for item in answer["items"]]


def test_empty_ledger(ledger_client: Client) -> None:
    assert page(ledger_client) == {"items": [], "next_cursor": None, "cautions": []}


def test_pages_go_from_new_to_old_whatever_is_added_meanwhile(ledger_client: Client) -> None:
    for i in range(5):
        planned(ledger_client, reference=f"A-{i}")
    first = page(ledger_client, limit=2)
    planned(ledger_client, reference="A-5")
    second = page(ledger_client, limit=2, cursor=first["next_cursor"])
    third = page(ledger_client, limit=2, cursor=second["next_cursor"])
    assert [names(answer) for answer in (first, second, third)] == [["A-4", "A-3"], ["A-2", "A-1"], ["A-0"]]
    assert third["next_cursor"] is None
    assert page(ledger_client, limit=6)["next_cursor"] is None


def test_arrived_ones_go_by_arrival_whenever_they_were_entered(ledger_client: Client) -> None:
    days = {"A": "2027-01-16", "B": "2027-01-19", "C": "2027-01-16", "D": "2027-01-14", "E": "2027-01-17"}
    rows = [row(shipment=name, ship_date="2027-01-11", arrival_date=day) for name, day in days.items()]
    ledger_client.post(f"{PATH}/import", content=csv_bytes(*rows))
    asked: Fields = {"state": "arrived", "limit": 2}
    first = page(ledger_client, **asked)
    second = page(ledger_client, **asked, cursor=first["next_cursor"])
    third = page(ledger_client, **asked, cursor=second["next_cursor"])
    assert [names(answer) for answer in (first, second, third)] == [["B", "E"], ["C", "A"], ["D"]]
    assert third["next_cursor"] is None
    # Nor is a place in one order a place in the other.
    parameters: Fields = {"cursor": first["next_cursor"]}
    assert ledger_client.get(PATH, params=parameters).status_code == 422


def test_filters(ledger_client: Client) -> None:
    planned(ledger_client, reference="A-1")
    Box(ledger_client, reference="A-2").depart()
    Box(ledger_client, reference="A-3").arrive()
    lost = Box(ledger_client, reference="A-4")
    lost.depart(events=[{"at": "2027-02-20T08:00:00Z", "kind": "lost"}])
    for state, name in (("planned", "A-1"), ("in_transit", "A-2"), ("arrived", "A-3"), ("lost", "A-4")):
        assert names(page(ledger_client, state=state)) == [name]
    assert names(page(ledger_client, reference="A-2")) == ["A-2"]
    assert names(page(ledger_client, reference="A-2", state="lost")) == []
    assert names(page(ledger_client, reference="no such")) == []


def test_item_says_what_a_change_needs(ledger_client: Client) -> None:
    box = Box(ledger_client, reference="A-1")
    [item] = page(ledger_client)["items"]
    assert (item["id"], item["etag"], item["seller"]) == (box.id, box.etag, "Invented Ferns")
    assert [line["quantity"] for line in item["lines"]] == [20, 12]


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("state=open", "/state"),
        ("limit=0", "/limit"),
        ("limit=501", "/limit"),
        ("limit=ten", "/limit"),
        ("limit=1.5", "/limit"),
        ("limit=", "/limit"),
        ("limit=%D9%A1", "/limit"),
        ("cursor=abc", "/cursor"),
        ("cursor=", "/cursor"),
        ("cursor=YmVmb3JlIDk5OTk5OTk5OTk", "/cursor"),
        ("cursor=%00", "/cursor"),
        ("reference=a%00b", "/reference"),
        ("limit=1&limit=2", "/limit"),
        ("sort=old", "/sort"),
    ],
)
def test_bad_query(ledger_client: Client, query: str, pointer: str) -> None:
    response = ledger_client.get(f"{PATH}?{query}")
    assert (response.status_code, response.headers["content-type"]) == (422, "application/problem+json")
    assert [error["pointer"] for error in response.json()["errors"]] == [pointer]


def test_recheck_is_due_fourteen_days_after_opening(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client)
    box.depart()
    assert as_of(database, "2027-06-01")["items"][0]["recheck_on"] is None
    box.arrive(opened_at="2027-01-17T10:00:00Z")
    due = [as_of(database, day)["items"][0]["recheck_due"] for day in ("2027-01-30", "2027-01-31", "2027-05-01")]
    assert due == [False, True, True]
    assert as_of(database, "2027-01-30")["items"][0]["recheck_on"] == "2027-01-31"
    # Sooner than seven days after (model/reference/constants.csv) it says nothing of late loss: still to be done.
    for day, still_due in (("2027-01-23", True), ("2027-01-24", False)):
        box.done("PUT", "/recheck", json=RECHECK | {"checked_at": f"{day}T12:00:00Z"})
        item = as_of(database, "2027-05-01")["items"][0]
        assert (item["recheck_due"], item["recheck_on"] is not None) == (still_due, still_due)


def test_a_claim_has_its_end_until_it_is_settled(ledger_client: Client, database: Database) -> None:
    """Delivered on 16 January at 10:00 UTC, winter time in Glasgow."""
    box = Box(ledger_client, recourse={"kind": "refund", "claim_window_hours": 30})
    box.depart()
    assert as_of(database, "2027-01-15")["items"][0]["claim_until"] is None
    box.arrive()
    assert as_of(database, "2027-05-01")["items"][0]["claim_until"] == "2027-01-17T16:00:00Z"
    box.done("PATCH", json={"claim": {"outcome": "refused"}})
    assert as_of(database, "2027-01-17")["items"][0]["claim_until"] is None
    whole = Box(ledger_client)
    whole.depart()
    none = {"damaged": 0, "dead": 0}
    whole.arrive(lines=[{"line": 0, "healthy": 20} | none, {"line": 1, "healthy": 12} | none])
    assert as_of(database, "2027-01-17")["items"][0]["claim_until"] is None, "nothing dead, nothing missing"
    nothing = Box(ledger_client, recourse={"kind": "none"})
    nothing.depart()
    nothing.arrive()
    assert as_of(database, "2027-01-17")["items"][0]["claim_until"] is None, "the seller gives nothing"


def test_a_box_is_late_once_nine_in_ten_such_boxes_are_open(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client)
    days = box.get()["forecast"]["transit_days"]["p90"]
    left = datetime.fromisoformat(box.depart()["departed_at"])
    since = left + timedelta(days=days)

    def late(at: datetime) -> list[str | None]:
        """Return since when it is late, by the list and by its outlook."""
        listed = answer_page(PageQuery(), database, load_reference(), at).model_dump(mode="json")["items"][0]
        outlook = ledger_client.get(f"{box.path}/outlook", params={"at": at.isoformat()}).json()
        return [listed["late_since"], outlook["late_since"]]

    assert late(since - timedelta(hours=1)) == [None, None]
    told = [datetime.fromisoformat(moment or "") for moment in late(since + timedelta(hours=1))]
    assert all(abs(moment - since) < timedelta(seconds=2) for moment in told)
    box.arrive()
    assert as_of(database, "2027-05-01")["items"][0]["late_since"] is None


def test_recheck_of_a_box_from_a_file_counts_from_its_day(ledger_client: Client, database: Database) -> None:
    ledger_client.post(f"{PATH}/import", content=csv_bytes(row()))
    assert as_of(database, "2027-01-30")["items"][0]["recheck_on"] == date(2027, 1, 30).isoformat()
    assert as_of(database, "2027-01-30")["items"][0]["recheck_due"] is True


def test_boxes_without_an_outcome_flatter_the_chances(ledger_client: Client, database: Database) -> None:
    """The plan is for 11 January: 30 days later is 10 February."""
    planned(ledger_client)
    Box(ledger_client).depart()
    Box(ledger_client).arrive()
    assert as_of(database, "2027-02-10")["cautions"] == []
    later = as_of(database, "2027-02-11")
    [caution] = later["cautions"]
    assert caution["code"] == "outcome_missing"
    assert caution["text"].startswith("2 of the planned shipments should have left more than 30 days ago")
    assert [item["outcome_missing"] for item in later["items"]] == [False, True, True]


def test_caution_counts_the_whole_ledger(ledger_client: Client) -> None:
    past = (NOW - timedelta(days=32)).date().isoformat()
    for _ in range(3):
        planned(ledger_client, ship_date=past)
    assert page(ledger_client, limit=1)["cautions"][0]["text"].startswith("3 of the planned shipments")
