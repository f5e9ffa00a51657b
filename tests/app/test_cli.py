"""The command line: text or JSON on standard output, faults one a line on standard error with exit code 2."""

import io
import json
import sys
from ipaddress import IPv4Address
from pathlib import Path
from typing import Any

import pytest

from app.__main__ import main
from app.http.openapi import examples
from app.serving.engine import Engine
from app.store.database import Database
from app.store.model_versions import StoredVersion, add_version
from tests.app.client import Client
from tests.app.fits import FITTED_AT as STORED_AT
from tests.app.fits import fitted

PATHS = {
    "risk": "risk", "compare": "compare", "hold": "hold", "order-size": "order_size", "wish-list": "wish_list",
    "worth-knowing": "worth_knowing",
}  # fmt: skip
ANYWHERE = str(IPv4Address(0))
COMPARE = examples()["compare"]["request"]


@pytest.fixture(autouse=True)
def no_ledger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return where the ledger would be; there is none."""
    file = tmp_path / "none.db"
    monkeypatch.setenv("TRANSIT_DATABASE_URL", f"sqlite:///{file}")
    return file


@pytest.fixture
def request_file(tmp_path: Path) -> Path:
    """Return a place for a request."""
    return tmp_path / "request.json"


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    """Run the command line and return exit code, standard output, standard error."""
    code = main(argv)
    captured = capsys.readouterr()
    return code, captured.out, captured.err


@pytest.mark.parametrize("command", PATHS)
def test_json_is_what_the_server_answers(
    capsys: pytest.CaptureFixture[str], client: Client, request_file: Path, command: str
) -> None:
    body = examples()[PATHS[command]]["request"]
    request_file.write_text(json.dumps(body))
    code, out, err = run(capsys, command, str(request_file), "--json")
    assert (code, err) == (0, "")
    assert json.loads(out) == client.post(f"/v1/{command}", json=body).json()


@pytest.mark.parametrize("command", PATHS)
def test_text_fits_a_terminal(capsys: pytest.CaptureFixture[str], request_file: Path, command: str) -> None:
    request_file.write_text(json.dumps(examples()[PATHS[command]]["request"]))
    code, out, err = run(capsys, command, str(request_file))
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 120
    assert "nan" not in out.split()


@pytest.mark.parametrize("command", ["compare", "hold"])
def test_text_leads_with_the_recommendation(
    capsys: pytest.CaptureFixture[str], request_file: Path, command: str
) -> None:
    request_file.write_text(json.dumps(examples()[command]["request"]))
    _, answer, _ = run(capsys, command, str(request_file), "--json")
    _, text, _ = run(capsys, command, str(request_file))
    assert " ".join(text.split()).startswith(json.loads(answer)["reason"])


def test_comparison_goes_from_routes_to_cautions(capsys: pytest.CaptureFixture[str], request_file: Path) -> None:
    request_file.write_text(json.dumps(COMPARE))
    _, out, _ = run(capsys, "compare", str(request_file))
    titles = ("Routes from SRG to GLA", "Routes: money", "Lines", "Assumed, since left out", "Cautions")
    order = [out.index(f"\n{title}") for title in titles]
    assert order == sorted(order)


def test_standard_input(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    body = json.dumps(examples()["risk"]["request"]).encode()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(body)))
    code, out, _ = run(capsys, "risk", "-")
    assert code == 0
    assert "Begonia" in out


@pytest.mark.parametrize(
    ("body", "lines"),
    [
        (COMPARE | {"lines": [COMPARE["lines"][0] | {"quantity": 0}]},
         ["/lines/0/quantity: must be a whole number, 1 to 100,000"]),
        (COMPARE | {"routes": [], "draws": 1},
         ["/routes: must be a list of 1 to 10 entries", "/draws: must be a whole number, 256 to 65,536"]),
        (COMPARE | {"forecast": {"\x1b[2J\n": COMPARE["forecast"]["GLA"]}},
         ["/forecast/\\u001b[2J\\u000a: must be a place on the route: the code of origin or destination"]),
        ([], ["/: must be an object with origin, destination, lines, routes, ship_date"]),
    ],
)  # fmt: skip
def test_bad_input_is_one_line_a_fault(
    capsys: pytest.CaptureFixture[str], request_file: Path, body: Any, lines: list[str]
) -> None:
    request_file.write_text(json.dumps(body))
    assert run(capsys, "compare", str(request_file)) == (2, "", "\n".join(lines) + "\n")


def test_malformed_json(capsys: pytest.CaptureFixture[str], request_file: Path) -> None:
    request_file.write_text("{")
    code, out, err = run(capsys, "risk", str(request_file), "--json")
    assert (code, out) == (2, "")
    assert err.startswith("/: must be valid JSON: ")
    assert err.count("\n") == 1


def test_file_that_cannot_be_read(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    missing = str(tmp_path / "missing.json")
    assert run(capsys, "hold", missing) == (2, "", f"{missing}: No such file or directory\n")
    assert run(capsys, "hold", str(tmp_path))[0] == 2


def test_bad_settings(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    code, out, err = run(capsys, "serve", "--host", ANYWHERE)
    assert (code, out) == (2, "")
    assert err.startswith(f"host {ANYWHERE}: must be a loopback address (127.0.0.1, ::1 or localhost) while there are")
    assert run(capsys, "serve", "--port", "70000") == (2, "", "--port: must be a whole number, 0 to 65,535\n")
    monkeypatch.setenv("TRANSIT_PORT", "many")
    assert run(capsys, "serve") == (2, "", "TRANSIT_PORT: must be a whole number, 0 to 65,535\n")


@pytest.mark.parametrize("argv", [[], ["fly"], ["compare"], ["serve", "--port", "many"]])
def test_bad_arguments_exit_2(argv: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(argv)
    assert left.value.code == 2
    assert "usage:" in capsys.readouterr().err


def test_demo_says_that_it_is_invented(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "demo", "--no-serve")
    assert (code, err) == (0, "")
    assert out.startswith("Invented: ")
    assert "air cargo" in out


@pytest.mark.parametrize("argv", [("refit",), ("key", "revoke", "0123"), ("backup", "copy.db")])
def test_commands_that_need_a_ledger_make_none(
    capsys: pytest.CaptureFixture[str], no_ledger: Path, argv: tuple[str, ...]
) -> None:
    for _ in range(2):
        code, out, err = run(capsys, *argv)
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert "there is no " in err.lower()
    assert list(no_ledger.parent.iterdir()) == []


def test_questions_are_answered_by_the_active_version(
    capsys: pytest.CaptureFixture[str], request_file: Path, no_ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the option as by the environment; the demonstration, whose answers are shown elsewhere, never."""
    elsewhere = f"sqlite:///{no_ledger.with_name('elsewhere.db')}"
    rules = Engine.load().model_version
    request_file.write_text(json.dumps(COMPARE))
    asked = ("compare", str(request_file), "--json")

    def version(*options: str) -> str:
        code, out, err = run(capsys, *asked, *options)
        assert (code, err) == (0, "")
        answered: str = json.loads(out)["model_version"]
        return answered

    assert version("--database-url", elsewhere) == rules
    shown = run(capsys, "demo", "--no-serve")[1]
    fit, arrays = fitted()
    with Database(elsewhere) as database, database.writing() as connection:
        add_version(connection, StoredVersion("fit-1", fit.manifest.model_dump_json(), 1, True, STORED_AT), arrays)
    assert version("--database-url", elsewhere) == "fit-1"
    assert version() == rules
    monkeypatch.setenv("TRANSIT_DATABASE_URL", elsewhere)
    assert version() == "fit-1"
    assert run(capsys, "demo", "--no-serve")[1] == shown
    assert not no_ledger.exists()


def test_a_version_that_cannot_be_used_is_told(
    capsys: pytest.CaptureFixture[str], request_file: Path, no_ledger: Path
) -> None:
    request_file.write_text(json.dumps(COMPARE))
    fit, arrays = fitted()
    broken = StoredVersion("fit-1", fit.manifest.model_dump_json(), 1, True, STORED_AT)
    with Database(f"sqlite:///{no_ledger}") as database, database.writing() as connection:
        add_version(connection, broken, arrays[:-1])
    code, out, err = run(capsys, "compare", str(request_file), "--json")
    assert (code, json.loads(out)["model_version"]) == (0, Engine.load().model_version)
    assert err.startswith("fit-1 is active, but cannot be used: ")


def test_a_ledger_that_cannot_be_read_is_no_reason_to_answer_otherwise(
    capsys: pytest.CaptureFixture[str], request_file: Path, no_ledger: Path
) -> None:
    request_file.write_text(json.dumps(COMPARE))
    no_ledger.write_bytes(b"no database, whatever its name says" * 9)
    code, out, err = run(capsys, "compare", str(request_file))
    assert (code, out, err) == (2, "", "the ledger cannot be used: file is not a database\n")
