"""The worked program that asks for risk, run as its users run it: a process of its own against a running server."""

import csv
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.app.servers import ROOT, running_server

SCRIPT = ROOT / "data" / "demo" / "ask_risk.py"
PLANTS = SCRIPT.with_name("plants.csv")


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Yield the address of a server without a ledger."""
    with running_server(f"sqlite:///{tmp_path_factory.mktemp('ask') / 'ledger.db'}") as address:
        yield address


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the script alone: -I keeps everything but the standard library's own paths and packages out of its way."""
    return subprocess.run(
        [sys.executable, "-I", "-S", str(SCRIPT), *arguments], capture_output=True, text=True, check=False
    )


def test_table_shows_what_the_server_says_of_each_row(address: str) -> None:
    done = run("--server", address)
    assert (done.stderr, done.returncode) == ("", 0)
    with PLANTS.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    head, *lines = done.stdout.split("\n\n")[0].splitlines()
    assert head.split()[:2] == ["plant", "sent"]
    assert len(lines) == len(rows)
    for row, line in zip(rows, lines, strict=True):
        asked = {
            "genus": row["genus"], "cultivar": row["cultivar"] or None, "service": row["service"],
            "ship_date": row["ship_date"], "transit_days": float(row["transit_days"]),
            "temperature": {name: row[name] for name in ("origin", "destination", "service")},
        }  # fmt: skip
        answer = httpx.post(f"{address}/v1/risk", json={"queries": [asked]}).json()
        [result] = answer["results"]
        cells = line.split()
        assert f"{result['healthy']['mean']:.2f}" in cells
        assert f"{result['dead']['mean']:.2f}" in cells
        assert f"{int(row['quantity']) * result['healthy']['mean']:.1f}" in cells
        assert f"Model {answer['model_version']}" in done.stdout
        assert all(f"* {caution['text']}" in done.stdout for caution in result["cautions"])


def test_faults_are_told_row_by_row(address: str, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.csv"
    wrong.write_text(
        PLANTS.read_text(encoding="utf-8").replace("SRG,GLA,courier,2027-01-11,5", "SRG,GLA,rocket,2027-01-11,5", 1)
    )
    done = run(str(wrong), "--server", address)
    assert (done.stdout, done.returncode) == ("", 2)
    assert "/queries/0/service: must be courier, post or air_cargo" in done.stderr


def test_a_server_that_is_not_there_is_told() -> None:
    # Port 9 is the discard service's, which no computer runs any more.
    done = run("--server", "http://127.0.0.1:9")
    assert (done.stdout, done.returncode) == ("", 2)
    assert "http://127.0.0.1:9 does not answer: " in done.stderr
