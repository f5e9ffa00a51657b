"""An arrival: counts, times, substitutes, and what is refused."""

import pytest

from app.store.database import Database
from tests.app.batches import Fields
from tests.app.client import Client
from tests.app.shipment_calls import (
    ARRIVAL,
    COUNTS,
    Box,
    errors,
    first_line,
    revisions,
)


def test_arrival_is_answered_whole(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client)
    box.depart()
    answer = box.arrive(notes="one corner dented\nroots wet", photos=["a b.jpg", "roots.jpg"])
    arrival = answer["arrival"]
    assert answer["state"] == "arrived"
    assert (arrival["arrival_date"], arrival["arrived_at"], arrival["opened_at"]) == (
        "2027-01-16", "2027-01-16T10:00:00Z", "2027-01-16T10:00:00Z",
    )  # fmt: skip
    # From 02:00 UTC on the 11th to 10:00 UTC on the 16th: 5 days and 8 hours.
    assert arrival["transit_days"] == pytest.approx(5 + 8 / 24)
    counts = [[line[name] for name in ("quantity", "sent", "healthy", "damaged", "dead", "missing")]
              for line in arrival["lines"]]  # fmt: skip
    assert counts == [[20, 20, 15, 3, 2, 0], [12, 10, 9, 0, 1, 2]]
    assert arrival["missing"] == 2
    assert (arrival["notes"], arrival["photos"]) == ("one corner dented\nroots wet", ["a b.jpg", "roots.jpg"])
    assert revisions(database) == ([3], [3])


def test_extra_lines_are_substitutes(ledger_client: Client) -> None:
    substitute = {"genus": "Begonia", "cultivar": "Nowhere", "healthy": 2, "damaged": 0, "dead": 0, "note": "instead"}
    box = Box(ledger_client)
    lines_ = box.arrive(lines=[*COUNTS, substitute])["arrival"]["lines"]
    assert [(line["line"], line["genus"], line["quantity"], line["sent"]) for line in lines_] == [
        (0, "Aglaonema", 20, 20), (1, "Hoya", 12, 10), (2, "Begonia", None, 2),
    ]  # fmt: skip
    # The correction counts them anew.
    lines_ = box.arrive(lines=[*COUNTS, substitute | {"line": 2, "healthy": 1, "dead": 1}])["arrival"]["lines"]
    assert [(line["line"], line["dead"]) for line in lines_] == [(0, 2), (1, 1), (2, 1)]
    assert len(box.arrive()["arrival"]["lines"]) == 2


@pytest.mark.parametrize(
    ("fields", "pointer", "message"),
    [
        (first_line(healthy=16), "/lines/0/dead", "healthy, damaged and dead must add up to the quantity, 20"),
        (first_line(sent=19), "/lines/0/dead", "healthy, damaged and dead must add up to sent"),
        (first_line(healthy=-1), "/lines/0/healthy", "must be a whole number, 0 to 100,000"),
        (first_line(healthy=100_001), "/lines/0/healthy", "must be a whole number, 0 to 100,000"),
        (first_line(line=1), "/lines/1/line", "must differ from the lines before it"),
        (first_line(line=7), "/lines/0/line", "must be the position of a line of the plan, 0 to 1"),
        (first_line(genus="Begonia"), "/lines/0/genus", "must be left out, or be the plant of line 0"),
        ({"lines": COUNTS[:1]}, "/lines", "lacks line 1, Hoya Nowhere: give it with sent 0"),
        ({"lines": [*COUNTS, {"healthy": 1, "damaged": 0, "dead": 0}]}, "/lines/2/line", "is required"),
        ({"lines": [*COUNTS, {"genus": "aglaonema", "healthy": 1, "damaged": 0, "dead": 0}]}, "/lines/2/genus",
         "is the same plant as line 0"),
        ({"arrived_at": "2027-01-11T01:59:59Z"}, "/arrived_at", "must not be before the departure"),
        ({"arrived_at": "2027-04-11T02:00:01Z"}, "/arrived_at", "must be at most 90 days after the departure"),
        ({"arrived_at": "2027-01-16T10:00:00"}, "/arrived_at", "must be a moment of ISO 8601"),
        ({"opened_at": "2027-01-16T09:59:59Z"}, "/opened_at", "must not be before arrived_at"),
        ({"photos": ["../box.jpg"]}, "/photos/0", "must be the name of a file, without folders"),
        ({"photos": ["C:\\box.jpg"]}, "/photos/0", "must be the name of a file, without folders"),
        ({"photos": ["a", "a"]}, "/photos/1", "must differ from the names before it"),
        ({"notes": "a\0b"}, "/notes", "must be a text of up to 4,000 characters"),
    ],
)  # fmt: skip
def test_bad_arrival_leaves_the_box_as_it_was(
    ledger_client: Client, database: Database, fields: Fields, pointer: str, message: str
) -> None:
    box = Box(ledger_client)
    box.depart()
    before = box.get()
    response = box.call("PUT", "/arrival", json=ARRIVAL | fields)
    assert response.status_code == 422
    found = dict(errors(response))
    assert found[pointer].startswith(message), found
    assert box.get() == before
    assert revisions(database) == ([], [])


def test_arrival_before_the_planned_day_asks_for_the_departure(ledger_client: Client) -> None:
    box = Box(ledger_client)
    response = box.call("PUT", "/arrival", json=ARRIVAL | {"arrived_at": "2027-01-09T10:00:00Z"})
    [(pointer, message)] = errors(response)
    assert (response.status_code, pointer) == (422, "/arrived_at")
    assert "give departed_at" in message
    answer = box.arrive(arrived_at="2027-01-09T10:00:00Z", departed_at="2027-01-05T10:00:00Z")
    assert answer["arrival"]["transit_days"] == pytest.approx(4.0)


def test_nothing_came(ledger_client: Client) -> None:
    none = [{"line": i, "sent": 0, "healthy": 0, "damaged": 0, "dead": 0} for i in (0, 1)]
    arrival = Box(ledger_client).arrive(lines=none)["arrival"]
    assert [line["missing"] for line in arrival["lines"]] == [20, 12]


def test_more_than_ordered_is_not_missing(ledger_client: Client) -> None:
    more = [COUNTS[0] | {"sent": 21, "healthy": 16}, COUNTS[1]]
    assert [line["missing"] for line in Box(ledger_client).arrive(lines=more)["arrival"]["lines"]] == [0, 2]
