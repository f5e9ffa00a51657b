"""After an arrival: the next steps with their dates, and the claim's outcome."""

from datetime import datetime, timedelta

import pytest

from tests.app.batches import Fields
from tests.app.client import Client
from tests.app.ledger_files import csv_bytes, row
from tests.app.shipment_calls import ARRIVAL, RECHECK, Box, errors
from tests.moments import NOW


def steps(answer: Fields) -> dict[str, Fields]:
    return {step["code"]: step for step in answer["next_steps"]}


def test_next_steps_have_dates(ledger_client: Client) -> None:
    """The plan's claim window is 48 h; 14 days on and 3 to 6 weeks are common practice and extension texts."""
    answer = Box(ledger_client).arrive(opened_at="2027-01-16T18:00:00Z")
    found = steps(answer)
    assert list(found) == ["photograph", "claim", "rehydrate", "shade_and_humidity", "isolate", "recheck"]
    assert (found["claim"]["from"], found["claim"]["until"]) == ("2027-01-16T10:00:00Z", "2027-01-18T10:00:00Z")
    assert found["rehydrate"]["from"] == "2027-01-16T18:00:00Z"
    assert found["isolate"]["until"] == "2027-02-27T18:00:00Z"
    assert found["recheck"]["from"] == "2027-01-30T18:00:00Z"
    assert found["rehydrate"]["status"] == "common practice, no source"
    codes = [caution["code"] for caution in answer["cautions"]]
    assert {"late_damage", "residues", "irritant_sap", "isolate"} <= set(codes)


def test_of_a_box_whose_day_alone_is_known_the_claim_ends_as_its_sheet_says(ledger_client: Client) -> None:
    ledger_client.post("/v1/shipments/import", content=csv_bytes(row()), headers={"content-type": "text/csv"})
    [listed] = ledger_client.get("/v1/shipments").json()["items"]
    path = f"/v1/shipments/{listed['id']}"
    step = steps(ledger_client.get(path).json())["claim"]
    (clock,) = [
        clock for clock in ledger_client.get(f"{path}/claim").json()["clocks"] if clock["code"] == "seller_window"
    ]
    for end in ("from", "until"):
        assert datetime.fromisoformat(step[end]) == datetime.fromisoformat(clock[end])


def test_steps_that_are_done_say_so(ledger_client: Client) -> None:
    box = Box(ledger_client)
    box.arrive()
    assert steps(box.get())["recheck"]["state"] != "done"
    box.done("PUT", "/recheck", json=RECHECK)
    claim = {"outcome": "refunded", "amount": 16.5, "settled_on": "2027-01-20"}
    answer = box.done("PATCH", json={"claim": claim})
    assert answer["claim"] == claim
    found = steps(answer)
    assert (found["recheck"]["state"], found["claim"]["state"]) == ("done", "done")


@pytest.mark.parametrize("recourse", [{"kind": "refund", "claim_window_hours": None}, {"kind": "refund"}])
def test_claim_without_a_window_says_to_ask(ledger_client: Client, recourse: Fields) -> None:
    """48 h, the most common window, until the seller says otherwise; step, list and sheet all say so."""
    box = Box(ledger_client, recourse=recourse)
    claim = steps(box.arrive())["claim"]
    assert "ask the seller" in claim["text"]
    listed = ledger_client.get("/v1/shipments").json()["items"][0]
    sheet = ledger_client.get(f"/v1/shipments/{box.id}/claim").json()
    clock = next(clock for clock in sheet["clocks"] if clock["code"] == "seller_window")
    ends = [datetime.fromisoformat(end) for end in (claim["until"], listed["claim_until"], clock["until"])]
    assert ends == [datetime.fromisoformat("2027-01-18T10:00:00Z")] * 3
    assert "18 January 2027" in sheet["lead"]


def test_nothing_is_recorded_as_having_happened_in_the_future(ledger_client: Client) -> None:
    """More than a day after the clock of the tests: within it, a clock may be off."""
    ahead, soon = ((NOW + timedelta(hours=hours)).isoformat() for hours in (25, 23))
    box = Box(ledger_client, ship_date="2190-01-04")
    future = [(pointer, "must not lie in the future: it is recorded as having happened") for pointer in
              ("/departed_at", "/events/0/at")]  # fmt: skip
    news = {"departed_at": ahead, "events": [{"at": ahead, "kind": "at_hub", "note": ""}]}
    assert errors(box.call("PATCH", json=news)) == future
    box.done("PATCH", json={"departed_at": soon})
    arrival = ARRIVAL | {"arrived_at": ahead, "opened_at": ahead}
    assert {pointer for pointer, _ in errors(box.call("PUT", "/arrival", json=arrival))} == {
        "/arrived_at", "/opened_at",
    }  # fmt: skip
    box.arrive(arrived_at=soon)
    recheck = RECHECK | {"checked_at": ahead}
    assert [pointer for pointer, _ in errors(box.call("PUT", "/recheck", json=recheck))] == ["/checked_at"]


def test_claim_is_settled_after_arrival_only(ledger_client: Client) -> None:
    box = Box(ledger_client)
    assert box.call("PATCH", json={"claim": {"outcome": "refused"}}).status_code == 409
    box.arrive()
    response = box.call("PATCH", json={"claim": {"outcome": "replaced", "settled_on": "2027-01-15"}})
    assert errors(response) == [("/claim/settled_on", "must not be before the arrival")]
    assert box.done("PATCH", json={"claim": {"outcome": "replaced"}})["claim"]["outcome"] == "replaced"
