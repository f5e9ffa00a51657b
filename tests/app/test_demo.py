"""The demonstration: what it prints, the boxes behind it, and the stored fit of them."""

import csv
import io
import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from app.__main__ import main
from app.cli.demo import ARRAYS, BOXES, LEARNED, demo_folder, demo_text, learned_model, stored_model
from app.comparing.compare import answer_compare
from app.records.ledger import COLUMNS
from app.schemas.compare import CompareRequest
from app.serving.manifest import ArtefactError, Manifest
from model.reference.tables import load_reference
from tests.app.batches import engine
from tests.app.ledger_files import parsed
from tests.demo_boxes import N_BOXES, SENDERS, boxes_csv

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "data" / "demo"
MOST_LINES, MOST_COLUMNS = 80, 100


@pytest.fixture(scope="module")
def printed() -> str:
    return demo_text()


def test_it_fits_on_two_screens(printed: str) -> None:
    lines = printed.splitlines()
    assert len(lines) < MOST_LINES
    assert max(map(len, lines)) <= MOST_COLUMNS


def test_it_tells_before_after_why_and_a_hold(printed: str) -> None:
    assert printed.startswith("Invented: ")
    found = [printed.index(title) for title in ("\n1. By rules", "\n2. The same", "\n3. What changed", "\n4. Ship now")]
    assert found == sorted(found)
    before, after, why, hold = (printed[a:b] for a, b in zip(found, [*found[1:], None], strict=True))
    assert before.count("Take ") == after.count("Take ") == 1
    assert re.search(r"own boxes", why)
    assert re.search(r"from \d+ boxes; before: \d\.\d", why)
    assert len(re.findall(r"^(Mon|Tue|Wed|Thu|Fri) \d\d Jan", hold, flags=re.MULTILINE)) == 9
    assert hold.count("advised") == 1


def test_the_first_comparison_is_that_of_the_rules_of_thumb(printed: str) -> None:
    request = json.loads((FOLDER / "batch.json").read_text(encoding="utf-8"))["comparisons"][0]["request"]
    answer = answer_compare(CompareRequest.model_validate_json(json.dumps(request)), engine())
    said = " ".join(printed.split())
    assert " ".join(answer.reason.split()) in said


def test_full_tables_on_request(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "--no-serve", "--full"]) == 0
    out = capsys.readouterr().out
    assert (out.count("\nRoutes from "), out.count("\nShip dates from "), out.count("\nCautions\n")) == (4, 1, 5)


def test_boxes_are_those_that_the_script_writes() -> None:
    assert (FOLDER / BOXES).read_text(encoding="utf-8") == boxes_csv()


def test_boxes_are_a_ledger_with_all_columns() -> None:
    data = (FOLDER / BOXES).read_bytes()
    assert next(csv.reader(io.StringIO(data.decode()))) == list(COLUMNS)
    records = parsed(data)
    assert len(records) == N_BOXES == 40
    assert {record.seller for record in records} == {sender.name for sender in SENDERS}
    assert {record.service for record in records} == {"courier", "air_cargo"}
    assert (max(r.ship_date for r in records) - min(r.ship_date for r in records)).days > 600
    logged = sum(record.inside_temp_c is not None for record in records)
    assert 0 < logged < N_BOXES / 2


def test_the_stored_fit_is_of_these_boxes_and_tables() -> None:
    """If this fails after a change of the tables: python -m tests.demo_boxes."""
    fit = stored_model(demo_folder(), load_reference())
    records = parsed((FOLDER / BOXES).read_bytes())
    assert fit.counts.n_boxes == N_BOXES
    assert fit.counts.n_plants == sum(line.sent or 0 for record in records for line in record.lines)


def test_no_fit_is_loaded_without_need() -> None:
    code = (
        "import sys\nfrom app.__main__ import main\nmain(['demo', '--no-serve'])\n"
        "assert not {'sklearn', 'scipy.stats', 'pandas', 'app.learning'} & set(sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.stderr, done.returncode) == ("", 0)


def test_other_boxes_are_fitted_anew(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The first four, beside the stored fit of all."""
    header, *rows = (FOLDER / BOXES).read_text(encoding="utf-8").splitlines(keepends=True)
    few = [row for row in rows if row < "demo-05"]
    (tmp_path / BOXES).write_text(header + "".join(few), encoding="utf-8")
    for name in (LEARNED, ARRAYS):
        (tmp_path / name).write_bytes((FOLDER / name).read_bytes())
    with pytest.raises(ArtefactError, match="of other boxes"):
        stored_model(tmp_path, load_reference())
    fit = learned_model(tmp_path, load_reference())
    assert capsys.readouterr().err.startswith("Learning from the invented boxes first")
    assert (fit.counts.n_boxes, fit.manifest.n_lines) == (4, len(few))


def test_a_fit_of_other_tables_is_not_used(tmp_path: Path) -> None:
    for name in (BOXES, ARRAYS):
        (tmp_path / name).write_bytes((FOLDER / name).read_bytes())
    stored = json.loads((FOLDER / LEARNED).read_text(encoding="utf-8"))
    other = Manifest.model_validate(stored["manifest"] | {"reference_fingerprint": "0123abcd"})
    stored["manifest"] = json.loads(other.sealed((FOLDER / ARRAYS).read_bytes()).model_dump_json())
    (tmp_path / LEARNED).write_text(json.dumps(stored), encoding="utf-8")
    with pytest.raises(ArtefactError, match="fitted with other tables"):
        stored_model(tmp_path, load_reference())
