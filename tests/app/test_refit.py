"""A refit: what is asked of a candidate, and what a fault at any moment leaves behind."""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event, text

from app.cli.model_commands import model_text, take_newest, use_version
from app.learning.fit import fit_model
from app.learning.holding import ENDS_HOLD, HELD
from app.learning.job import run_refit
from app.main import create_app
from app.serving.artifacts import from_artefact
from app.serving.engine import Engine, rules_version
from app.serving.refits import end_refit, find_refit, request_refit
from app.settings import Settings
from app.store.database import Database
from app.store.model_versions import (
    StoredVersion,
    activate_version,
    active_version,
    add_version,
    list_versions,
    read_version,
)
from app.store.refits import ACTIVATED, FAILED, KEPT, RUNNING
from model.reference.tables import load_reference
from tests.app.client import Client, running_client
from tests.app.fits import FEW_DRAWS, FITTED_AT, fill, fitted, likely_ledger, refit
from tests.app.ledger_files import csv_bytes, row
from tests.app.servers import server, until

RULES = Engine.load().model_version


@pytest.fixture
def ledger_url(tmp_path: Path) -> str:
    """Return the URL of a file; what it is about does not depend on the kind of database."""
    return f"sqlite:///{tmp_path / 'ledger.db'}"


@pytest.fixture
def ledger(ledger_url: str) -> Iterator[Database]:
    """Yield an empty ledger in a file."""
    with Database(ledger_url) as opened:
        yield opened


def versions(database: Database) -> list[StoredVersion]:
    with database.reading() as connection:
        return list_versions(connection)


def active(database: Database) -> str | None:
    with database.reading() as connection:
        return active_version(connection)


def assert_loadable(database: Database, version: str) -> None:
    with database.reading() as connection:
        stored = read_version(connection, version)
    assert stored is not None
    from_artefact(stored[0].manifest_json, stored[1], load_reference())


def test_refit_stores_a_version_that_has_seen_the_ledger(database: Database) -> None:
    fill(database, likely_ledger(15, 1))
    done = refit(database)
    assert done.state == ACTIVATED
    assert "better than the rules of thumb alone, on 15 boxes left out one by one" in str(done.reason)
    assert active(database) == done.version
    assert_loadable(database, str(done.version))
    fill(database, csv_bytes(row(shipment="later")))
    again = refit(database)
    assert "on 16 boxes left out one by one (1 new or corrected since that was made)" in str(again.reason)
    newest, oldest = versions(database)
    assert (newest.version, oldest.version) == (again.version, done.version)
    assert newest.ledger_revision == oldest.ledger_revision + 1


def test_a_corrected_box_is_compared_like_a_new_one(database: Database) -> None:
    fill(database, csv_bytes(row()))
    fill(database, likely_ledger(15, 1))
    first = refit(database)
    assert first.state == ACTIVATED
    fill(database, csv_bytes(row(healthy="5", dead="12")), replace=True)
    second = refit(database)
    assert second.state == ACTIVATED
    assert "on 16 boxes left out one by one (1 new or corrected since that was made)" in str(second.reason)


def test_a_candidate_that_predicts_worse_is_kept_and_not_activated(ledger: Database) -> None:
    """The active version was fitted to the very boxes that it is judged on, and is said not to have seen them."""
    database, data = ledger, likely_ledger(22, 2)
    fill(database, data)
    model, arrays = fitted(data)
    first = StoredVersion("fit-first", model.manifest.model_dump_json(), 0, True, FITTED_AT.replace(year=2026))
    with database.writing() as connection:
        add_version(connection, first, arrays)
    second = refit(database)
    assert (second.state, second.version != first.version) == (KEPT, True)
    assert "worse than the version before, beyond noise, on 22 boxes left out one by one" in str(second.reason)
    assert active(database) == first.version
    assert [version.active for version in versions(database)] == [False, True]


def test_an_empty_ledger_is_refused(database: Database) -> None:
    done = refit(database)
    assert (done.state, done.version) == (FAILED, None)
    assert "no arrived boxes to learn from" in str(done.reason)
    assert active(database) is None


def test_a_refit_that_was_given_up_stores_nothing(ledger: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted as dead while it fits, for instance on a computer that slept."""
    database = ledger
    fill(database, csv_bytes(row()))
    queued, _ = request_refit(database)

    def slow(*arguments: Any, **named: Any) -> Any:
        end_refit(database, queued.id, "Given up.")
        return fit_model(*arguments, **named)

    monkeypatch.setattr("app.learning.job.fit_model", slow)
    done = run_refit(database, queued.id, n_weighed=FEW_DRAWS)
    assert (done.state, done.reason) == (FAILED, "Given up.")
    assert versions(database) == []


def test_a_version_activated_meanwhile_is_not_replaced(ledger: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(ledger, csv_bytes(row()))
    first = refit(ledger)

    def slow(*arguments: Any, **named: Any) -> Any:
        with ledger.writing() as connection:
            activate_version(connection, None)
        return fit_model(*arguments, **named)

    monkeypatch.setattr("app.learning.job.fit_model", slow)
    second = refit(ledger)
    assert (first.state, second.state, active(ledger)) == (ACTIVATED, KEPT, None)
    assert "another version was activated" in str(second.reason)


def test_going_back_holds_until_a_newer_version_is_taken(ledger: Database, ledger_url: str) -> None:
    """For every server on the ledger and after a restart; a refit that somebody asks for ends it."""
    fill(ledger, csv_bytes(row()))
    first = refit(ledger)
    rules = rules_version(load_reference())
    with served(ledger_url) as client:

        def activated(version: str | None) -> Any:
            answer = client.post(f"/v1/model/versions/{version}/activate")
            assert answer.status_code == 200, answer.text
            return answer.json()["held"]

        assert activated(first.version) is None
        held = activated(rules)
        assert (held["version"], held["waiting"], held["newest"]) == (rules, 1, first.version)
        waiting = request_refit(ledger, by_itself=True)[0]
        second = run_refit(ledger, waiting.id, n_weighed=FEW_DRAWS)
        assert (second.state, active(ledger)) == (KEPT, None)
        assert str(second.reason).startswith(f"{HELD} The fit converged")
    with served(ledger_url) as client, Database(ledger_url) as other:
        told = client.get("/v1/model").json()["held"]
        assert (told["waiting"], told["newest"]) == (2, second.version)
        assert "You went back to the rules of thumb alone on " in told["text"]
        assert "2 newer versions wait. Take the newest, or let" in told["text"]
        assert "2 newer versions wait" in model_text(Settings(database_url=ledger_url))
        assert client.request("DELETE", "/v1/model/hold").json()["held"] is None
        assert active(ledger) is None, "what answers stays until a refit activates another"
        assert activated(first.version)["waiting"] == 1
        assert activated(second.version) is None
        assert activated(first.version)["newest"] == second.version
        joined = [request_refit(other, by_itself=by_itself)[0] for by_itself in (True, False)]
        third = run_refit(other, joined[1].id, n_weighed=FEW_DRAWS)
        assert [asked.by_itself for asked in joined] == [True, False]
        assert (third.id, third.state, active(ledger)) == (joined[0].id, ACTIVATED, third.version)
        assert str(third.reason).endswith(ENDS_HOLD)
        assert client.get("/v1/model").json()["held"] is None
        said = use_version(Settings(database_url=ledger_url), str(first.version))
        assert said.startswith(f"{first.version} answers from now on. You went back to {first.version} on ")
        assert take_newest(Settings(database_url=ledger_url)).startswith(f"{third.version} answers from now on.")


def test_a_full_disk_leaves_the_active_version(ledger: Database, ledger_url: str) -> None:
    """SQLite's limit of pages stands for the disk: the new version does not fit, what says so does."""
    fill(ledger, csv_bytes(row()))
    first = refit(ledger)
    with ledger.reading() as connection:
        n_pages = connection.execute(text("PRAGMA page_count")).scalar_one()
    with Database(ledger_url) as full:
        limit = f"PRAGMA max_page_count = {n_pages + 20}"
        event.listen(full.engine, "connect", lambda connection, _: connection.execute(limit).close())
        second = refit(full)
        assert (second.state, second.version) == (FAILED, None)
        assert "full" in str(second.reason)
        assert active(full) == first.version
        assert_loadable(full, str(first.version))
        assert len(versions(full)) == 1


@contextmanager
def served(url: str) -> Iterator[Client]:
    """Yield a client of an application with this ledger."""
    with running_client(create_app(Settings(database_url=url, refit_draws=FEW_DRAWS))) as client:
        yield client


def test_a_killed_refit_leaves_the_active_version_and_the_next_one_runs(database: Database, database_url: str) -> None:
    fill(database, csv_bytes(row()))
    first = refit(database)
    fill(database, likely_ledger(40, 3))
    with served(database_url) as client:
        asked = client.post("/v1/model/refit")
        place = asked.headers["location"]
        until(lambda: client.get(place).json()["state"] == RUNNING)
        pid = client.app.state.refits.pid(asked.json()["id"])
        os.kill(pid, signal.SIGKILL)
        ended = until(lambda: (found := client.get(place).json())["state"] != RUNNING and found)
        assert (ended["state"], ended["version"]) == (FAILED, None)
        assert "stopped before it was done" in ended["reason"]
        assert client.get("/health").json()["model_version"] == active(database) == first.version
        assert [version.version for version in versions(database)] == [first.version]
        fill(database, csv_bytes(row(shipment="A-1", healthy="5", dead="12")), replace=True)
        done = client.post("/v1/model/refit?wait=true")
        assert (done.status_code, done.json()["state"]) == (200, ACTIVATED), done.text
        assert client.get("/health").json()["model_version"] == done.json()["version"] == active(database)


def test_the_server_answers_while_a_refit_runs(ledger: Database, ledger_url: str) -> None:
    fill(ledger, likely_ledger(8, 4))
    with served(ledger_url) as client:
        refit_asked = client.start("POST", "/v1/model/refit?wait=true")
        answered = [client.get("/health").json()["model_version"] for _ in range(20) if not refit_asked.done()]
        assert answered == [RULES] * 20
        done = refit_asked.result()
        assert (done.status_code, done.json()["state"]) == (200, ACTIVATED)
        assert client.get("/health").json()["model_version"] == done.json()["version"]


def test_a_server_that_stops_ends_its_refit(ledger: Database, ledger_url: str) -> None:
    fill(ledger, likely_ledger(40, 3))
    with served(ledger_url) as client:
        refit_id = client.post("/v1/model/refit").json()["id"]
        pid = client.app.state.refits.pid(refit_id)
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    assert find_refit(ledger, refit_id).state == FAILED


def test_two_servers_on_one_file_serve_the_same_version(ledger: Database, ledger_url: str) -> None:
    """One of them in a process of its own, on a port of this computer."""
    url = ledger_url
    fill(ledger, likely_ledger(6, 5))
    with served(url) as one, server(url) as two:

        def named() -> str:
            version: str = two.get("/health").json()["model_version"]
            return version

        assert named() == RULES
        fitted = one.post("/v1/model/refit?wait=true").json()["version"]
        until(lambda: named() == fitted)
        query = {"genus": "Aglaonema", "transit_days": 6, "temperature": {"inside_c": 22}}
        answers = [each.post("/v1/risk", json={"queries": [query]}) for each in (one, two)]
        assert answers[0].content == answers[1].content
        assert two.post(f"/v1/model/versions/{RULES}/activate").status_code == 200
        until(lambda: one.get("/health").json()["model_version"] == RULES)


def test_the_command_fits_and_says_what_came_of_it(database: Database, database_url: str, capsys: Any) -> None:
    from app.__main__ import main

    database.prepare()
    assert main(["refit", "--database-url", database_url]) == 2
    assert "no arrived boxes to learn from" in capsys.readouterr().err
    fill(database, csv_bytes(row()))
    assert main(["refit", "--database-url", database_url]) == 0
    said = capsys.readouterr().out
    assert said.startswith(f"{active(database)} serves from now on. Activated")
