"""``GET /v1/shipments/{id}/outlook`` on the ledger: what it reads, and what it refuses."""

import json

import pytest

from app.schemas.outlook import OutlookAnswer
from tests.app.batches import Fields
from tests.app.client import Client
from tests.app.shipment_calls import DEPARTED, PATH, Box

THIRD_DAY = "2027-01-14T02:00:00+00:00"


def outlook(box: Box, at: str | None = THIRD_DAY) -> Fields:
    """Return the outlook of a box in transit."""
    response = box.client.get(f"{box.path}/outlook", params={} if at is None else {"at": at})
    assert response.status_code == 200, response.text
    answer: Fields = response.json()
    OutlookAnswer.model_validate_json(json.dumps(answer))
    return answer


def refused(box: Box, at: str | None = THIRD_DAY) -> tuple[int, str, str]:
    """Return status, pointers and detail of a refusal."""
    response = box.client.get(f"{box.path}/outlook", params={} if at is None else {"at": at})
    body = response.json()
    assert response.headers["content-type"] == "application/problem+json"
    return response.status_code, " ".join(error["pointer"] for error in body["errors"]), body["detail"]


def test_events_of_the_ledger_move_the_outlook(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart()
    before = outlook(box)
    # Departed at 2 UTC on the 11th.
    assert before["elapsed_days"] == pytest.approx(3.0)
    assert before["at"] == "2027-01-14T02:00:00Z"
    assert (before["leg"], before["held"]) == (None, False)
    assert before["model_version"].startswith("rules-")
    assert before["heat_pack_ends_at"] == "2027-01-14T02:00:00Z"
    assert [line["quantity"] for line in before["lines"]] == [20, 12]
    box.done("PATCH", json={"events": [{"at": "2027-01-13T20:00:00+00:00", "kind": "in_clearance"}]})
    cleared = outlook(box)
    assert cleared["leg"] == "clearance"
    assert cleared["days_left"]["mean"] < before["days_left"]["mean"]
    box.done("PATCH", json={"events": [{"at": "2027-01-14T01:00:00+00:00", "kind": "held"}]})
    held = outlook(box)
    assert held["held"]
    assert held["days_left"]["mean"] > cleared["days_left"]["mean"]
    assert outlook(box, "2027-01-14T00:30:00+00:00")["held"] is False


def test_only_a_box_in_transit_has_one(ledger_client: Client) -> None:
    box = Box(ledger_client)
    status, _, detail = refused(box)
    assert (status, "has not left" in detail) == (409, True)
    box.depart(events=[{"at": "2027-02-20T00:00:00+00:00", "kind": "lost"}])
    status, _, detail = refused(box)
    assert (status, "lost" in detail) == (409, True)
    box.arrive()
    status, _, detail = refused(box)
    assert (status, "has arrived" in detail) == (409, True)


def test_bad_moments_are_refused_with_their_place(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.depart()
    assert refused(box, "2027-01-11T01:59:00+00:00")[:2] == (422, "/at")
    assert refused(box, "2027-01-14")[:2] == (422, "/at")
    assert outlook(box, DEPARTED)["elapsed_days"] == 0.0


def test_without_a_moment_it_is_now(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.done("PATCH", json={"departed_at": "2020-01-06T09:00:00+07:00"})
    answer = outlook(box, None)
    assert answer["elapsed_days"] > 2000
    assert answer["lines"][0]["dead"]["mean"] > 0.95


@pytest.mark.parametrize("known", [True, False])
def test_an_unknown_shipment_is_not_found(ledger_client: Client, known: bool) -> None:
    if known:
        Box(ledger_client)
    response = ledger_client.get(f"{PATH}/s{'0' * 24}/outlook")
    assert (response.status_code, response.json()["code"]) == (404, "not_found")
