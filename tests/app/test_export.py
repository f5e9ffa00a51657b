"""Exporting CSV: what goes out comes back, byte for byte, and no spreadsheet runs any of it."""

import csv
import io
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from sqlalchemy import update

from app.__main__ import main
from app.ledger.csv_cells import from_inert, inert
from app.ledger.export import export_csv
from app.ledger.imports import import_csv
from app.records.ledger import COLUMNS
from app.store.database import Database
from app.store.schema import shipments
from model.reference.tables import load_reference
from tests.app.client import Client
from tests.app.ledger_files import RECHECKED, csv_bytes, csv_text, random_ledger, row
from tests.moments import NOW

REFERENCE = load_reference()
HEADER = ",".join(COLUMNS) + "\r\n"
# After OWASP, CSV Injection: a cell that begins with one of these may be run, full-width forms by some programs.
RUN = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")


def take(database: Database, data: bytes) -> None:
    import_csv(data, database, REFERENCE, replace=False, now=NOW)


def exported_again(database: Database, data: bytes) -> bytes:
    """Import a file and return the export."""
    take(database, data)
    return export_csv(database)


@contextmanager
def empty_ledger() -> Iterator[Database]:
    with TemporaryDirectory() as folder, Database(f"sqlite:///{folder}/ledger.db") as database:
        yield database


def cells_of(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode(), newline="")))


def test_export_of_an_empty_ledger_is_a_header(database: Database) -> None:
    assert export_csv(database) == HEADER.encode()


def test_export_of_a_file_that_does_not_exist_makes_none(tmp_path: Path) -> None:
    with Database(f"sqlite:///{tmp_path / 'ledger.db'}") as database:
        assert export_csv(database) == HEADER.encode()
    assert not list(tmp_path.iterdir())


def test_a_row_as_it_is_written(database: Database) -> None:
    cells = row(cultivar='"Snow", large', inside_temp_c="21.50", unit_cost="8", sale_value="0.1", currency="EUR")
    take(database, csv_bytes(cells | RECHECKED))
    assert export_csv(database).decode() == HEADER + (
        "A-1,Invented Ferns,courier,SRG,GLA,foam_box,damp_wrap,72,2027-01-11,2027-01-16,21.5,Aglaonema,"
        '"""Snow"", large",20,15,3,2,1,0,,8,0.1,EUR,2027-01-30,14,2,1,1,,\r\n'
    )


def test_temperatures_given_in_fahrenheit_are_written_in_celsius(database: Database) -> None:
    """68 °F are 20 °C, 50 °F are 10 °C, 86 °F are 30 °C: 9 °F for 5 °C from 32 °F on."""
    cells = row() | {"inside_temp_f": "68", "inside_min_f": "50", "inside_max_f": "86"}
    del cells["inside_temp_c"]
    take(database, csv_text([cells], cells).encode())
    (written_row,) = cells_of(export_csv(database))
    assert [written_row[f"inside_{name}_c"] for name in ("temp", "min", "max")] == ["20", "10", "30"]
    assert not any(name.endswith("_f") for name in written_row)


def test_only_arrived_shipments_by_day_then_name(database: Database) -> None:
    late = {"ship_date": "2027-02-01", "arrival_date": "2027-02-05"}
    names = ("b", "B", "é", "a", "Z")
    take(database, csv_bytes(row(shipment="first") | late, *(row(shipment=name) for name in names), row(shipment="x")))
    with database.writing() as connection:
        connection.execute(update(shipments).where(shipments.c.reference == "x").values(state="lost"))
    # By code points, as no database orders by itself.
    assert [cells["shipment"] for cells in cells_of(export_csv(database))] == ["B", "Z", "a", "b", "é", "first"]


def test_lines_keep_their_order(database: Database) -> None:
    take(database, csv_bytes(*(row(genus=genus) for genus in ("Hoya", "Aglaonema", "Begonia"))))
    assert [cells["genus"] for cells in cells_of(export_csv(database))] == ["Hoya", "Aglaonema", "Begonia"]


def test_shipment_without_reference_keeps_its_name(database: Database) -> None:
    take(database, csv_bytes(row()))
    with database.writing() as connection:
        connection.execute(update(shipments).values(reference=None))
    once = export_csv(database)
    assert cells_of(once)[0]["shipment"] not in ("", "A-1")
    take(database, once)
    assert export_csv(database) == once
    with empty_ledger() as other:
        assert exported_again(other, once) == once


@pytest.mark.parametrize("seed", [1, 2])
def test_export_into_an_empty_ledger_is_the_same_export(database: Database, seed: int) -> None:
    once = exported_again(database, random_ledger(300, seed))
    assert len(cells_of(once)) == 300
    with empty_ledger() as other:
        assert exported_again(other, once) == once


def test_both_databases_export_alike(database: Database) -> None:
    data = random_ledger(60, seed=9)
    with empty_ledger() as other:
        assert exported_again(database, data) == exported_again(other, data)


TEXTS = st.text(st.characters(exclude_categories=("Cs", "Cc")) | st.sampled_from("\t\n\r'\"=+-@,;＝ "), max_size=12)
NAMES = TEXTS.map(str.strip).filter(bool)
MONEY = st.none() | st.floats(0, 1e9) | st.integers(0, 10**9).map(float)


def written(value: Any) -> str:
    return "" if value is None else str(value)


@st.composite
def lines_of_a_shipment(draw: st.DrawFn) -> list[dict[str, str]]:
    """Draw the rows of one shipment, as a user may write them: numbers as Python writes them, texts raw."""
    ship_date = draw(st.dates(date(1900, 1, 2), NOW.date() - timedelta(80)))
    arrival_date = ship_date + timedelta(draw(st.integers(1, 80)))
    seller = draw(st.none() | NAMES)
    together = {
        "shipment": draw(NAMES),
        "seller": written(seller),
        "inside_temp_c": written(draw(st.none() | st.floats(-40, 60))),
        "heat_pack_hours": written(draw(st.floats(0, 240))),
        "ship_date": ship_date.isoformat(),
        "arrival_date": arrival_date.isoformat(),
        "currency": draw(st.sampled_from(["", "EUR", "USD"])),
        "seller_kind": draw(st.sampled_from(["", "grower"])),
    }
    rows = []
    for position in range(draw(st.integers(1, 3))):
        healthy, damaged, dead = (draw(st.integers(0, 9)) for _ in range(3))
        counts = draw(st.sampled_from([(healthy, damaged, dead), (healthy, None, None), (None, None, dead)]))
        cells = row() | together | {"genus": draw(NAMES), "cultivar": f"{draw(TEXTS)} {position}"}
        cells |= {"sent": str(healthy + damaged + dead), "unit_cost": written(draw(MONEY))}
        cells |= dict(zip(("healthy", "damaged", "dead"), map(written, counts), strict=True))
        if draw(st.booleans()):
            alive = healthy if counts[1] is None and counts[0] is not None else healthy + damaged
            cells |= dict.fromkeys(RECHECKED, "0") | {"recheck_date": (arrival_date + timedelta(14)).isoformat()}
            cells["recheck_gone"] = str(alive)
        rows.append(cells)
    return rows


@settings(deadline=None, max_examples=40)
@given(st.lists(lines_of_a_shipment(), max_size=4, unique_by=lambda rows: rows[0]["shipment"].strip()))
def test_whatever_is_imported_round_trips(shipments_drawn: list[list[dict[str, str]]]) -> None:
    # A user's text is taken for one that was made inert where it looks like one: two names may become the same.
    named = {from_inert(rows[0]["shipment"]).strip(): rows for rows in shipments_drawn}
    rows = [cells for rows in named.values() for cells in rows]
    with empty_ledger() as first, empty_ledger() as second:
        once = exported_again(first, csv_text(rows, COLUMNS, quoting=csv.QUOTE_ALL).encode())
        assert len(cells_of(once)) == len(rows)
        assert exported_again(second, once) == once


@given(st.text(st.characters() | st.sampled_from("\t\n\r'\"=+-@,;＝")))
@example("''=x")
@example("\t=x")
@example(";;'=\n\n=x")
def test_inert_text_comes_back(text: str) -> None:
    assert from_inert(inert(text)) == text


@given(st.text(st.sampled_from("\t\n\r'\"=+-@,;＝a")))
def test_inert_text_runs_nowhere(text: str) -> None:
    """Neither as a cell, nor cut at any delimiter or line break that another program may see."""
    made = inert(text)
    assert not made.startswith(RUN)
    for before, here in pairwise(made):
        assert not (before in ',;\t\r\n"' and here in RUN)


def test_formulas_are_exported_inert_and_come_back(database: Database) -> None:
    texts = ["=HYPERLINK(1)", "+1", "-1", "@x", "＝1", "'=1", "a;=1", "plain", "'quoted'", "-"]
    take(database, csv_bytes(*(row(genus=text, seller="=cmd", shipment="@1") for text in texts)))
    once = export_csv(database)
    out = cells_of(once)
    # The apostrophe of "'=1" was taken for ours.
    assert [cells["genus"] for cells in out] == [
        "'=HYPERLINK(1)", "'+1", "'-1", "'@x", "'＝1", "'=1", "a;'=1", "plain", "'quoted'", "'-",
    ]  # fmt: skip
    assert {(cells["seller"], cells["shipment"]) for cells in out} == {("'=cmd", "'@1")}
    take(database, once)
    assert export_csv(database) == once


def test_negative_temperatures_stay_numbers(database: Database) -> None:
    take(database, csv_bytes(row(inside_temp_c="-5")))
    assert cells_of(export_csv(database))[0]["inside_temp_c"] == "-5"


@pytest.mark.parametrize(
    ("cell", "written_as"), [("1e-7", "0.0000001"), ("1e9", "1000000000"), ("0.1", "0.1"), ("7.0", "7"), ("0", "0")]
)
def test_numbers_have_no_exponent(cell: str, written_as: str) -> None:
    with empty_ledger() as database:
        take(database, csv_bytes(row(unit_cost=cell)))
        assert cells_of(export_csv(database))[0]["unit_cost"] == written_as


def test_export_by_http(ledger_client: Client) -> None:
    data = random_ledger(30, seed=8)
    ledger_client.post("/v1/shipments/import", content=data, headers={"content-type": "text/csv"})
    answer = ledger_client.get("/v1/shipments/export")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "text/csv; charset=utf-8")
    assert answer.headers["content-disposition"] == 'attachment; filename="shipments.csv"'
    with empty_ledger() as database:
        assert exported_again(database, data) == answer.content


def test_export_command_writes_the_bytes(
    capfdbinary: pytest.CaptureFixture[bytes], tmp_path: Path, database_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Database(database_url) as database:
        once = exported_again(database, csv_bytes(row(cultivar="Größe")))
    # A terminal of another encoding, that writes its own line ends.
    terminal = io.TextIOWrapper(sys.stdout.buffer, encoding="latin-1", newline="\r\n")
    monkeypatch.setattr(sys, "stdout", terminal)
    assert main(["export", "--database-url", database_url]) == 0
    terminal.detach()
    assert capfdbinary.readouterr().out == once
