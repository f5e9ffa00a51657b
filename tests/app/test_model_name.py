"""The name of the model changes with every table, every judged constant and the revision of the code."""

import csv
import io
import json
import re
from dataclasses import fields
from pathlib import Path

import pytest

from app.serving import Engine
from model.reference import CONSTANTS
from model.reference.constants import Constants, load_constants
from model.reference.revision import MODEL_REVISION, fingerprint
from model.reference.rows import TABLES, ReferenceTableError, read_rows, tables_read
from tests.app.model_answers import ANSWERS_FILE, answers, moved

ROOT = Path(__file__).parents[2]
NAME = Engine.load().model_version


def name_with(changed: dict[str, str], revision: int = MODEL_REVISION) -> str:
    """Return the name of the model with the text of some tables changed."""
    texts = dict(zip(TABLES, tables_read(), strict=True)) | changed
    return f"rules-{fingerprint(texts.values(), revision)}"


def with_cell(table: str, row: int, column: str, cell: str) -> str:
    """Return the text of a table with one cell changed."""
    rows = [dict(r) for r in read_rows(table)]
    rows[row][column] = cell
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0].keys(), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def test_the_engine_carries_the_name_of_its_tables_and_revision() -> None:
    assert name_with({}) == NAME
    assert name_with({}, MODEL_REVISION + 1) != NAME


@pytest.mark.parametrize("table", TABLES)
def test_any_cell_of_any_table_changes_the_name(table: str) -> None:
    row = len(read_rows(table)) // 2
    columns = read_rows(table)[row]
    unchanged = with_cell(table, row, *next(iter(columns.items())))
    names = {name_with({table: with_cell(table, row, column, cell + "1")}) for column, cell in columns.items()}
    assert name_with({table: unchanged}) not in names
    assert len(names) == len(columns)


def test_each_judged_constant_changes_the_name() -> None:
    rows = read_rows("constants")
    assert [row["name"] for row in rows] == [field.name for field in fields(Constants)]
    names = {
        name_with({"constants": with_cell("constants", i, "value", f"{row['value']}1")}) for i, row in enumerate(rows)
    }
    assert len(names - {NAME, name_with({"constants": with_cell("constants", 0, "unit", rows[0]["unit"])})}) == len(
        rows
    )


def test_each_judged_constant_is_read_by_the_code() -> None:
    code = "".join(path.read_text(encoding="utf-8") for top in ("app", "model") for path in (ROOT / top).rglob("*.py"))
    assert [field.name for field in fields(Constants) if not re.search(rf"CONSTANTS\.{field.name}\b", code)] == []


def test_a_doubled_constant_is_the_one_that_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the code reads and what the name covers are the same row."""
    row = next(i for i, r in enumerate(read_rows("constants")) if r["name"] == "threshold_sd_c")
    doubled = list(csv.DictReader(with_cell("constants", row, "value", str(2 * CONSTANTS.threshold_sd_c)).splitlines()))
    monkeypatch.setattr("model.reference.rows.read_rows", lambda _table: tuple(doubled))
    assert load_constants.__wrapped__().threshold_sd_c == 2 * CONSTANTS.threshold_sd_c


@pytest.mark.parametrize(
    ("row", "column", "cell", "words"),
    [(0, "name", "no_such", "is unknown"), (1, "name", "reference_c", "stands twice"), (0, "value", "warm", "value")],
)
def test_a_constant_that_cannot_be_used_is_refused(
    monkeypatch: pytest.MonkeyPatch, row: int, column: str, cell: str, words: str
) -> None:
    rows = tuple(csv.DictReader(with_cell("constants", row, column, cell).splitlines()))
    monkeypatch.setattr("model.reference.rows.read_rows", lambda _table: rows)
    with pytest.raises(ReferenceTableError, match=words):
        load_constants.__wrapped__()


def test_a_constant_left_out_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("model.reference.rows.read_rows", lambda _table: read_rows("constants")[1:])
    with pytest.raises(ReferenceTableError, match="reference_c missing"):
        load_constants.__wrapped__()


def test_answers_move_only_with_the_name() -> None:
    """Whoever changes what the model answers by code raises `MODEL_REVISION`, then records the answers anew."""
    recorded = json.loads(ANSWERS_FILE.read_text(encoding="utf-8"))
    renamed = "the model has a new name: record what it answers by `python -m tests.app.model_answers`"
    assert recorded["model_version"] == NAME, renamed
    differences = moved(recorded["answers"], answers())
    assert differences == [], "other answers under the same name: raise MODEL_REVISION in model/reference/revision.py"


def test_answers_that_move_are_seen() -> None:
    recorded = {"fit": {"x": [1.0]}, "risk": {"Hoya": [0.5, 0.25]}}
    assert moved(recorded, {"fit": {"x": [1.001]}, "risk": {"Hoya": [0.500001, 0.25]}}) == []
    assert moved(recorded, {"fit": {"x": [1.1]}, "risk": {"Hoya": [0.5, 0.2501]}}) == [
        "/fit/x/0: 1.0 -> 1.1", "/risk/Hoya/1: 0.25 -> 0.2501",
    ]  # fmt: skip
    assert moved(recorded, {"fit": {"x": []}, "risk": {}}) == ["/fit/x", "/risk"]
