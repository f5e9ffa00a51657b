"""Corrections of an arrival: the history is kept, and the fit is told only of what it reads."""

import pytest

from app.store.database import Database
from tests.app.batches import Fields
from tests.app.client import Client
from tests.app.past_versions import past_versions
from tests.app.shipment_calls import (
    Box,
    first_line,
    revisions,
)


def test_correction_keeps_history_and_tells_the_fit(ledger_client: Client, database: Database) -> None:
    box = Box(ledger_client)
    box.arrive()
    box.arrive(**first_line(healthy=14, dead=3))
    assert revisions(database) == ([2], [3])
    with database.reading() as connection:
        past = past_versions(connection, box.id)
    assert [(version.revision, version.reason) for version in past] == [(1, "arrival"), (2, "arrival")]
    assert past[1].snapshot["lines"][0]["dead"] == 2
    assert past[0].snapshot["lines"][0]["dead"] is None


@pytest.mark.parametrize(
    ("fields", "corrected"),
    [
        ({}, False),
        ({"notes": "looked again"}, False),
        (first_line(note="small"), False),
        ({"opened_at": "2027-01-16T12:00:00Z"}, True),
        ({"departed_at": "2027-01-11T09:30:00+07:00"}, True),
        ({"inside_temp_c": 21.5}, True),
        ({"inside_max_c": 21.5}, True),
        ({"logger": [{"at": "2027-01-13T00:00:00Z", "inside_c": 21.5}]}, True),
    ],
    ids=lambda value: next(iter(value), "nothing") if isinstance(value, dict) else None,
)
def test_only_what_the_fit_reads_counts_as_corrected(
    ledger_client: Client, database: Database, fields: Fields, corrected: bool
) -> None:
    box = Box(ledger_client)
    box.depart()
    box.arrive()
    box.arrive(**fields)
    assert revisions(database) == ([3], [4 if corrected else 3])


def test_another_trace_of_the_same_mean_is_a_correction(ledger_client: Client, database: Database) -> None:
    def trace(*inside_c: float) -> list[Fields]:
        return [{"at": f"2027-01-13T0{h}:00:00Z", "inside_c": c} for h, c in enumerate(inside_c)]

    box = Box(ledger_client)
    box.arrive(logger=trace(20.0, 20.0, 20.0))
    answer = box.arrive(logger=trace(22.0, 18.0, 22.0))
    assert answer["arrival"]["inside_temp_c"] == 20.0
    assert revisions(database) == ([2], [3])


def test_the_same_arrival_again_changes_nothing(ledger_client: Client) -> None:
    box = Box(ledger_client)
    first = box.arrive(photos=["a.jpg"], logger=[{"at": "2027-01-13T07:00:00+07:00", "inside_c": 21}])
    tag = box.etag
    second = box.arrive(photos=["a.jpg"], logger=[{"at": "2027-01-13T00:00:00Z", "inside_c": 21}])
    assert (second, box.etag) == (first, tag)
