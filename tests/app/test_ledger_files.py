"""A ledger's file as a whole: its encoding, delimiter, header and shape, whatever program wrote it."""

from contextlib import suppress
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.ledger.csv_file import parse_ledger
from app.problems import InvalidCells
from app.records.ledger import REQUIRED_COLUMNS
from model.reference.tables import load_reference
from tests.app.ledger_files import ROW, csv_bytes, csv_text, faults, parsed, row
from tests.moments import NOW

REFERENCE = load_reference()
HEADER = ",".join(REQUIRED_COLUMNS)


BASE = csv_text([row(cultivar="Größe"), row(genus="Hoya", cultivar="Niño")])


@pytest.mark.parametrize(
    "data",
    [
        BASE.encode("utf-8-sig"),
        BASE.encode("latin-1"),
        BASE.encode("cp1252"),
        BASE.encode("utf-16"),
        BASE.replace("\n", "\r\n").encode(),
        BASE.replace("\n", "\r").encode(),
        BASE.replace(",", ";").encode(),
        BASE.replace(",", "\t").encode("utf-16"),
        b"sep=;\r\n" + BASE.replace(",", ";").encode(),
        ("sep=,\n" + BASE).encode("utf-8-sig"),
        BASE.replace("\n", "\n\n").encode(),
        BASE.replace("\n", ",,\n").encode(),
        BASE.replace("shipment,", " Shipment ,").replace("ship_date", "Ship Date").encode(),
        csv_text([row(cultivar="Größe"), row(genus="Hoya", cultivar="Niño")], REQUIRED_COLUMNS[::-1]).encode(),
        csv_text([row(cultivar="Größe"), row(genus="Hoya", cultivar="Niño")], quoting=1).encode(),
    ],
    ids=[
        "bom", "latin-1", "cp1252", "utf-16", "crlf", "cr", "semicolons", "tabs", "told",
        "told, with bom", "blank lines", "blank columns",
        "names", "order", "quoted",
    ],
)  # fmt: skip
def test_forms_of_one_file_are_read_alike(data: bytes) -> None:
    (record,) = parsed(data)
    assert [(line.genus, line.cultivar) for line in record.lines] == [("Aglaonema", "Größe"), ("Hoya", "Niño")]
    assert (record.ship_date, record.heat_pack_hours, record.heat_packs) == (date(2027, 1, 11), 72.0, 1)
    assert record == parsed(BASE.encode())[0] or "order" in record


@pytest.mark.parametrize("mark", [b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"])
def test_a_workbook_is_told_from_a_damaged_file(mark: bytes) -> None:
    """How .xlsx (a zip archive) and .xls begin."""
    [(_, _, message)] = faults(mark + bytes(200))
    assert message.startswith("is a spreadsheet's workbook, not CSV")


def test_the_line_that_names_the_delimiter_is_no_row() -> None:
    assert faults(b"sep=;\n" + csv_text([row(dead="x")], delimiter=";").encode())[0][0] == 2


def test_typographic_quotes_of_windows() -> None:
    (record,) = parsed(csv_text([row(cultivar="x")]).encode().replace(b",x,", b",\x93Snow\x94 \x80,"))
    assert record.lines[0].cultivar == "“Snow” €"


def test_decimal_commas_beside_semicolons() -> None:
    cells = row(inside_temp_c="21,5", unit_cost="1.250,5", sale_value="30,25", heat_pack_hours="72,0", sent="20,0")
    (record,) = parsed(csv_text([cells], delimiter=";").encode())
    (line,) = record.lines
    assert (record.inside_temp_c, record.heat_pack_hours) == (21.5, 72.0)
    assert (line.unit_cost, line.sale_value, line.sent) == (1250.5, 30.25, 20)


def test_quoted_line_break_is_one_row() -> None:
    data = csv_bytes(row(cultivar='two\nlines, "x"'), row(shipment="A-2", dead="9"))
    assert faults(data) == [(3, "dead", "healthy, damaged and dead must add up to sent")]
    (record,) = parsed(csv_bytes(row(cultivar='two\r\nlines, "x"')))
    assert record.lines[0].cultivar == 'two\r\nlines, "x"'


def header_faults(names: str) -> list[tuple[int | None, str | None, str]]:
    return faults(f"{names}\n{','.join(ROW.values())}\n".encode())


def test_missing_column() -> None:
    missing = [name for name in REQUIRED_COLUMNS if name not in ("roots", "dead")]
    data = csv_text([{name: ROW[name] for name in missing}], missing).encode()
    found = faults(data)
    assert found[:2] == [(1, "roots", "is missing in the header"), (1, "dead", "is missing in the header")]


@pytest.mark.parametrize("name", REQUIRED_COLUMNS)
def test_each_missing_column_is_told_and_nothing_else(name: str) -> None:
    """Nothing is asked of cells that are not there."""
    names = [other for other in REQUIRED_COLUMNS if other != name]
    data = csv_text([{other: ROW[other] for other in names}], names).encode()
    assert faults(data) == [(1, name, "is missing in the header")]


def test_misspelt_column() -> None:
    assert header_faults(HEADER.replace("damaged", "damged"))[0] == (
        1,
        "damged",
        "is not known here: did you mean damaged?",
    )


@pytest.mark.parametrize(
    ("misspelt", "meant"),
    [
        ("inside_temp", "inside_temp_c, or inside_temp_f"),
        ("inside temp °F", "inside_temp_f"),
        ("inside_temp_fahr", "inside_temp_f"),
        ("inside_temp_celsius", "inside_temp_c"),
    ],
)
def test_misspelt_temperature_is_asked_for_its_unit(misspelt: str, meant: str) -> None:
    """Who names degrees of the one kind is not told to put them into a column of the other."""
    found = header_faults(HEADER.replace("inside_temp_c", misspelt))
    assert [message for _, _, message in found] == [f"is not known here: did you mean {meant}?"]


def test_fahrenheit_may_stand_instead_of_celsius() -> None:
    (record,) = parsed(f"{HEADER}\n{','.join(row(inside_temp_c='68').values())}\n".replace("temp_c", "temp_f").encode())
    assert record.inside_temp_c == 20.0


def test_extra_column() -> None:
    data = csv_text([row() | {"weather": "fine"}], [*REQUIRED_COLUMNS, "weather"]).encode()
    assert faults(data) == [(1, "weather", "is not known here: delete column 18")]


def test_column_named_twice() -> None:
    data = csv_text([row()]).replace("cultivar", "genus").encode()
    assert (1, "genus", "stands twice in the header: delete one") in faults(data)


def test_header_is_missing() -> None:
    ((at, column, message),) = faults((",".join(ROW.values()) + "\n").encode())
    assert (at, column, message) == (1, None, f"must name the columns: {HEADER}")


def test_long_name_of_a_column_is_not_repeated() -> None:
    data = csv_text([row() | {"w" * 200: ""}], [*REQUIRED_COLUMNS, "w" * 200]).encode()
    assert faults(data) == [(1, None, "is not known here: delete column 18")]


@pytest.mark.parametrize("data", [b"", b"\n\n", b"\xef\xbb\xbf", b" \r\n;;\r\n"])
def test_empty_file(data: bytes) -> None:
    assert faults(data) == [(None, None, "is empty: the first row must name the columns")]


def test_header_only_is_an_empty_ledger() -> None:
    assert parsed(f"{HEADER}\n".encode()) == []


def test_reading_stops_where_more_is_wrong_than_anybody_reads() -> None:
    """Half a million rows of one letter were 4.5 million faults and took 8.5 s of CPU."""
    with pytest.raises(InvalidCells) as refused:
        parse_ledger(f"{HEADER}\n".encode() + b"a\n" * 500_000, REFERENCE, now=NOW)
    assert len(refused.value.errors) == 10_000
    assert refused.value.n_faults < 100_000
    assert "was not read any further" in refused.value.detail


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (HEADER + "".join(f",recheck_datee{i}" for i in range(5_000)) + "\n", "names 5,017 columns, and"),
        (f"{HEADER}\n" + "," * 300_000, "is longer than 262,144 characters"),
        (f"{HEADER}\n" + '"\n",' * 100_000, "is longer than 262,144 characters"),
        (f"{HEADER}\n" + "\n" * 1_000_000, "is one more than the 1,000,000 that one file may have"),
    ],
    ids=["columns", "cells", "quoted", "blank"],
)
def test_a_file_that_is_no_table_is_one_fault(data: str, words: str) -> None:
    [(_, _, message)] = faults(data.encode())
    assert message.startswith(words)


def test_row_longer_than_the_header() -> None:
    unquoted = csv_text([row()]).replace(",,Aglaonema", ",21,5,Aglaonema").encode()
    assert faults(unquoted) == [
        (2, None, "has more cells than the header: quote cells that contain the delimiter")
    ]  # fmt: skip


def test_row_shorter_than_the_header_ends_in_blanks() -> None:
    text = csv_text([row(damaged="", dead="")]).rstrip("\n").rstrip(",")
    (line,) = parsed(text.encode())[0].lines
    assert (line.healthy, line.damaged, line.dead) == (15, None, None)


def test_quotation_mark_that_is_not_closed() -> None:
    text = csv_text([row(shipment="A-1", dead="9"), row(shipment="A-2", genus='"Hoya'), row(shipment="A-3")])
    broken = faults(text.replace('"""Hoya"', '"Hoya').encode())
    assert broken[0] == (2, "dead", "healthy, damaged and dead must add up to sent")
    assert broken[1][:2] == (3, None)
    assert broken[1][2].startswith("has a quotation mark out of place")


@given(st.binary(max_size=300))
def test_no_file_is_a_fault_of_ours(data: bytes) -> None:
    for file in (data, f"{HEADER}\n".encode() + data):
        with suppress(InvalidCells):
            parse_ledger(file, REFERENCE, now=NOW)
