"""Dates of boxes as a calendar file, read back by a library that reads RFC 5545; the dates are by hand.

The invented box arrives on 16 January 2027 at 10:00 UTC in Glasgow: a window of 48 h ends on the 18th at 10:00, the
Montreal Convention's 14 and 21 days on 30 January and 6 February, and 14 days after opening are over on the 30th.
"""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import httpx
import icalendar

from tests.app.client import Client
from tests.app.ledger_files import csv_bytes, row
from tests.app.shipment_calls import PATH, RECHECK, Box, planned

COUNTED = "2027-11-20T10:00:00+00:00"


def events(response: httpx.Response) -> dict[str, Any]:
    """Return the events of a file by their identifiers."""
    assert response.status_code == 200, response.text
    assert response.headers["content-type"] == "text/calendar; charset=utf-8"
    # RFC 5545, 3.1: lines end in CR LF and are at most 75 octets long.
    lines = response.content.split(b"\r\n")
    assert max(len(line) for line in lines) <= 75
    calendar = icalendar.Calendar.from_ical(response.content)
    assert (calendar["version"], bool(calendar["prodid"])) == ("2.0", True)
    return {str(event["uid"]): event for event in calendar.walk("VEVENT")}


def test_dates_of_a_box(ledger_client: Client) -> None:
    box = Box(ledger_client, reference="Übersee; 12")
    assert ledger_client.get(f"{box.path}/calendar").status_code == 409
    box.depart()
    box.arrive()
    found = events(ledger_client.get(f"{box.path}/calendar"))
    starts = {uid.removeprefix(f"{box.id}-"): event.decoded("dtstart") for uid, event in found.items()}
    window_ends = datetime(2027, 1, 18, 10, tzinfo=UTC)
    assert starts == {
        "seller_window": window_ends - timedelta(minutes=30),
        "carrier_damage": date(2027, 1, 30),
        "carrier_delay": date(2027, 2, 6),
        "recheck": date(2027, 1, 30),
    }
    claim = found[f"{box.id}-seller_window"]
    assert claim.decoded("dtend") == window_ends
    assert str(claim["summary"]) == "Last moment to claim from Invented Ferns: Übersee; 12"
    [alarm] = claim.walk("VALARM")
    # Six hours before are at night in Glasgow: on the evening before, at 18:00.
    assert claim.decoded("dtstart") + alarm.decoded("trigger") == datetime(2027, 1, 17, 18, tzinfo=UTC)
    box.done("PATCH", json={"claim": {"outcome": "refunded", "amount": 10}})
    assert events(ledger_client.get(f"{box.path}/calendar")).keys() == {f"{box.id}-recheck"}
    box.done("PUT", "/recheck", json=RECHECK)
    assert ledger_client.get(f"{box.path}/calendar").status_code == 409


def test_dates_of_all_boxes_that_wait(ledger_client: Client) -> None:
    planned(ledger_client)
    # More than 90 days before the tests' 26 November.
    old = Box(ledger_client)
    old.depart()
    old.arrive()
    assert ledger_client.get(f"{PATH}/calendar").status_code == 409
    own = Box(ledger_client, recourse={"kind": "none"})
    own.depart(departed_at="2027-11-15T09:00:00+07:00")
    own.arrive(arrived_at=COUNTED)
    found = events(ledger_client.get(f"{PATH}/calendar"))
    # Of a seller who gives nothing there is nothing to claim; the carrier's days run all the same.
    assert found.keys() == {f"{own.id}-{code}" for code in ("carrier_damage", "carrier_delay", "recheck")}
    assert found[f"{own.id}-recheck"].decoded("dtstart") == date(2027, 12, 4)


def test_a_box_from_a_file_has_a_window_from_the_start_of_its_day(ledger_client: Client) -> None:
    ledger_client.post(f"{PATH}/import", content=csv_bytes(row(ship_date="2027-11-15", arrival_date="2027-11-20")))
    [item] = ledger_client.get(PATH).json()["items"]
    found = events(ledger_client.get(f"{PATH}/{item['id']}/calendar"))
    # 48 h, the most common window, from midnight in Glasgow.
    assert found[f"{item['id']}-seller_window"].decoded("dtend") == datetime(2027, 11, 22, tzinfo=UTC)
