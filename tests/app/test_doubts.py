"""Doubtful records through HTTP: told at import, at unboxing and after a refit, until confirmed or corrected."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from app.doubts import check_shipments, doubtful_records
from app.doubts.check import boxes_of_a_refit
from app.learning.job import run_refit
from app.main import create_app
from app.serving.refits import request_refit
from app.settings import Settings
from app.store.arrived import read_arrived
from app.store.database import Database
from app.store.doubts import LookedAt, replace_doubts, unchecked_shipments
from tests.app.batches import engine
from tests.app.client import Client, running_client
from tests.app.fits import FEW_DRAWS, fill, likely_ledger
from tests.app.ledger_files import csv_bytes
from tests.app.ledger_files import row as row_ahead
from tests.app.shipment_calls import PATH, Box


def row(**changes: str) -> dict[str, str]:
    """Return a row of a box that arrived months before the tests' now, with changes."""
    return row_ahead(**{"ship_date": "2026-01-11", "arrival_date": "2026-01-16"} | changes)


# Closed on a Monday. 55 °F is 12.8 °C; nothing that leaves Semarang for Glasgow in January is 55 °C warm on average.
FAHRENHEIT = row(shipment="F", ship_date="2026-01-12", inside_temp_c="55", healthy="18", damaged="1", dead="1")
MONTH = row(shipment="M", ship_date="2025-12-11", healthy="19", damaged="1", dead="0")


def taken(client: Client, *rows: dict[str, str], replace: bool = False) -> dict[str, Any]:
    """Import rows, and return what was done."""
    headers = {"content-type": "text/csv"}
    response = client.post(f"{PATH}/import", params={"replace": replace}, content=csv_bytes(*rows), headers=headers)
    assert response.status_code == 200, response.text
    answer: dict[str, Any] = response.json()
    return answer


def listed(client: Client) -> list[tuple[str, str]]:
    """Return shipment and code of what the model's page lists."""
    return [(doubt["shipment"], doubt["code"]) for doubt in client.get("/v1/model").json()["doubtful"]]


def shipment(client: Client, reference: str) -> tuple[str, str]:
    """Return path and ETag of a shipment."""
    (item,) = client.get(PATH, params={"reference": reference}).json()["items"]
    return f"{PATH}/{item['id']}", item["etag"]


def test_import_names_rows_by_column_with_the_slip_and_its_remedy(ledger_client: Client) -> None:
    good = row(shipment="G", inside_temp_c="17")
    done = taken(ledger_client, good, FAHRENHEIT, MONTH)
    assert (done["added"], done["unchecked"]) == (3, 0)
    fahrenheit, month = done["doubtful"]
    # The header is row 1.
    assert (fahrenheit["row"], fahrenheit["column"], fahrenheit["code"]) == (3, "inside_temp_c", "fahrenheit")
    assert "as °F it is 12.8 °C" in fahrenheit["text"]
    assert fahrenheit["text"].endswith("Correct the record, or confirm it if it is right.")
    assert (month["row"], month["code"]) == (4, "month_off")
    assert month["column"] in ("ship_date", "arrival_date")
    assert "36 days in transit are unlikely" in month["text"]
    # Each is likelier than everything else together.
    assert min(fahrenheit["chance"], month["chance"]) > 0.5
    assert listed(ledger_client) == [("M", "month_off"), ("F", "fahrenheit")]
    # The same file again: nothing is new, and what is doubtful still is.
    again = taken(ledger_client, good, FAHRENHEIT, MONTH)
    assert (again["unchanged"], len(again["doubtful"])) == (3, 2)


def test_a_whole_column_in_fahrenheit(ledger_client: Client) -> None:
    temperatures = ("48", "53", "57", "59", "51")
    rows = [row(shipment=f"F-{i}", inside_temp_c=logged) for i, logged in enumerate(temperatures)]
    done = taken(ledger_client, *rows)
    assert [(doubt["row"], doubt["code"]) for doubt in done["doubtful"]] == [(i, "fahrenheit") for i in range(2, 7)]


def test_confirmed_is_listed_no_longer_also_after_a_restart(tmp_path: Path) -> None:
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'ledger.db'}")
    with running_client(create_app(settings)) as client:
        taken(client, FAHRENHEIT, MONTH)
        path, etag = shipment(client, "F")
        assert client.get(path).json()["confirmed"] is False
        assert client.request("PUT", f"{path}/confirm").status_code == 428
        assert client.request("PUT", f"{path}/confirm", headers={"if-match": '"other"'}).status_code == 412
        answer = client.request("PUT", f"{path}/confirm", headers={"if-match": etag})
        assert (answer.status_code, answer.json()["doubtful"], answer.json()["confirmed"]) == (200, [], True)
        # Said again it changes nothing, the ETag neither.
        again = client.request("PUT", f"{path}/confirm", headers={"if-match": answer.headers["etag"]})
        assert (again.status_code, again.headers["etag"]) == (200, answer.headers["etag"])
        assert again.json() == answer.json()
        assert listed(client) == [("M", "month_off")]
    with running_client(create_app(settings)) as client:
        assert listed(client) == [("M", "month_off")]
        # A confirmed record is looked at no more, by another import neither.
        assert [doubt["shipment"] for doubt in taken(client, FAHRENHEIT, MONTH)["doubtful"]] == ["M"]


def test_a_correction_ends_a_doubt_and_a_confirmation(ledger_client: Client) -> None:
    taken(ledger_client, FAHRENHEIT, MONTH)
    path, etag = shipment(ledger_client, "F")
    ledger_client.request("PUT", f"{path}/confirm", headers={"if-match": etag}).raise_for_status()
    right = {"inside_temp_c": "12.8"}
    assert taken(ledger_client, FAHRENHEIT | right, MONTH, replace=True)["replaced"] == 1
    assert listed(ledger_client) == [("M", "month_off")]
    assert ledger_client.get(path).json()["confirmed"] is False
    taken(ledger_client, FAHRENHEIT | {"inside_temp_c": "56"}, replace=True)
    assert listed(ledger_client) == [("M", "month_off"), ("F", "fahrenheit")]


def test_only_what_has_arrived_can_be_confirmed(ledger_client: Client) -> None:
    box = Box(ledger_client)
    assert box.call("PUT", "/confirm").status_code == 409
    assert ledger_client.request("PUT", f"{PATH}/s{'0' * 24}/confirm", headers={"if-match": "*"}).status_code == 404


def test_unboxing_answers_with_a_caution(ledger_client: Client) -> None:
    box = Box(ledger_client, reference="U")
    box.depart()
    answer = box.arrive(inside_temp_c=55.0)
    (doubt,) = answer["doubtful"]
    assert (doubt["code"], doubt["row"]) == ("fahrenheit", None)
    assert answer["cautions"][0] == {
        "code": "doubtful_record", "text": doubt["text"], "checked": None, "decided_by": None, "moment": "arrival",
        "act": False,
    }  # fmt: skip
    assert box.get()["doubtful"] == [doubt]
    corrected = box.arrive(inside_temp_c=12.8)
    assert (corrected["doubtful"], listed(ledger_client)) == ([], [])


def test_a_refit_looks_first_at_what_nobody_has_looked_at(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("app.doubts.check.MOST_IN_A_REFIT", 3)
    with Database(f"sqlite:///{tmp_path / 'ledger.db'}") as database:
        fill(database, csv_bytes(*(row(shipment=f"A-{i}") for i in range(5))))
        with database.writing() as connection:
            ledger, new = read_arrived(connection), unchecked_shipments(connection)
            numbers = ledger.shipments.number.tolist()
            assert new == numbers
            # Those of the five that are newest, none having been looked at.
            assert boxes_of_a_refit(ledger, new).tolist() == [2, 3, 4]
            revisions = ledger.shipments.corrected_revision.tolist()
            looked_at = [LookedAt(n, revision, None) for n, revision in zip(numbers, revisions, strict=True)]
            replace_doubts(connection, looked_at[1:], [])
            assert unchecked_shipments(connection) == numbers[:1]
        assert boxes_of_a_refit(ledger, numbers[:1]).tolist() == [0, 3, 4]


@pytest.mark.parametrize(
    ("changes", "code", "column"),
    [
        ({"seller": "Invented Fernz"}, "seller_spelling", "seller"),
        ({"shipment": "copy"}, "recorded_twice", "shipment"),
        ({"arrival_date": "2026-01-11"}, "too_fast", "arrival_date"),
    ],
)
def test_slips_that_need_no_model(changes: dict[str, str], code: str, column: str, tmp_path: Path) -> None:
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'ledger.db'}")
    with running_client(create_app(settings)) as client:
        first = taken(client, row(shipment="A"), row(shipment="B", healthy="16", damaged="2"))
        assert first["doubtful"] == []
        done = taken(client, row(shipment="C") | {"healthy": "14", "damaged": "4"} | changes
                     if code != "recorded_twice" else row(shipment="copy"))  # fmt: skip
    (doubt,) = [doubt for doubt in done["doubtful"] if doubt["code"] == code]
    assert (doubt["row"], doubt["column"], doubt["chance"]) == (2, column, None)


def test_a_genus_that_is_nearly_one_of_the_table_is_named_by_its_row(ledger_client: Client) -> None:
    """A letter left out; a genus that is like none of the table is no misspelling, and an old name is none either."""
    rows = [row(shipment="A", genus=genus) for genus in ("Alocasia", "Philodendrn", "Zzyzx", "Calathea")]
    (doubt,) = taken(ledger_client, *rows)["doubtful"]
    assert (doubt["row"], doubt["line"], doubt["column"], doubt["code"]) == (3, 1, "genus", "genus_spelling")
    assert "Philodendrn is not in the table of genera" in doubt["text"]
    assert "Philodendron may be meant" in doubt["text"]


def test_a_date_ahead_of_the_clock_is_doubted_where_it_was_taken_in(tmp_path: Path) -> None:
    """By a clock that was months fast when the file came, and has been set right."""
    with Database(f"sqlite:///{tmp_path / 'ledger.db'}") as database:
        fill(database, csv_bytes(row(shipment="C")))
        with database.reading() as connection:
            numbers = read_arrived(connection).shipments.number.tolist()
        check_shipments(database, engine(), numbers, now=datetime(2025, 12, 20, tzinfo=UTC))
        (doubt,) = [doubt for doubt in doubtful_records(database, numbers) if doubt.code == "date_ahead"]
    assert doubt.column == "ship_date"


def test_a_refit_looks_at_all_records_by_what_it_learned(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    with running_client(create_app(Settings(database_url=url))) as client:
        headers = {"content-type": "text/csv"}
        file = likely_ledger(20, 3)
        # Healthy and dead the other way round in one box: nearly all dead after two days, all others nearly whole.
        swapped = row(shipment="S", inside_temp_c="20", genus="Hoya", sent="40", healthy="0", damaged="14", dead="26",
                      ship_date="2026-07-01", arrival_date="2026-07-03")  # fmt: skip
        client.post(f"{PATH}/import", content=file, headers=headers).raise_for_status()
        taken(client, swapped)
        with Database(url) as database:
            queued, _ = request_refit(database)
            run_refit(database, queued.id, n_weighed=FEW_DRAWS)
        answer = client.get(f"/v1/model/refits/{queued.id}").json()
        assert answer["state"] == "activated", answer["reason"]
        assert [(doubt["shipment"], doubt["column"]) for doubt in answer["doubtful"]] == [("S", "healthy")]
        assert listed(client) == [("S", answer["doubtful"][0]["code"])]
        path, etag = shipment(client, "S")
        client.request("PUT", f"{path}/confirm", headers={"if-match": etag}).raise_for_status()
        with Database(url) as database:
            queued, _ = request_refit(database)
            run_refit(database, queued.id, n_weighed=FEW_DRAWS)
        assert client.get(f"/v1/model/refits/{queued.id}").json()["doubtful"] == []
        # It was used: the fit counts 21 boxes.
        assert client.get("/v1/model").json()["boxes"] == 21
