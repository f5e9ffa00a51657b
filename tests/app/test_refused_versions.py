"""A server whose active version is not as a fit stored it: it starts, another answers, and it says so everywhere."""

import json
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import text

from app.main import create_app
from app.serving.engine import rules_version
from app.settings import Settings
from app.store.database import Database
from app.store.model_versions import StoredVersion, add_version
from app.store.refits import ACTIVATED, finish_refit, queue_refit
from model.reference.tables import load_reference
from tests.app.client import Client, running_client
from tests.app.fits import fitted
from tests.moments import NOW

RULES = rules_version(load_reference())
MANIFEST = "UPDATE model_versions SET manifest_json = :value WHERE version = 'bad'"
ARRAYS = "UPDATE model_versions SET arrays = :value WHERE version = 'bad'"
QUERY = {"genus": "Aglaonema", "transit_days": 6, "temperature": {"inside_c": 24}}


def store(ledger: Database, *names: str) -> None:
    """Store the fit under names, the last one active, each by a refit that activated it."""
    model, arrays = fitted()
    manifest = model.manifest.model_dump_json()
    for name in names:
        with ledger.writing() as connection:
            add_version(connection, StoredVersion(name, manifest, 1, True, NOW), arrays)
            refit, _ = queue_refit(connection, now=NOW)
            finish_refit(connection, refit.id, state=ACTIVATED, reason="", now=NOW, version=name, seen=1)


@contextmanager
def started(file: Path) -> Iterator[Client]:
    with running_client(create_app(Settings(database_url=f"sqlite:///{file}"))) as client:
        yield client


def reversed_levels() -> str:
    """Return the manifest as somebody may edit it by hand: the genera the other way round."""
    manifest = json.loads(fitted()[0].manifest.model_dump_json())
    manifest["levels"]["genus"].reverse()
    return json.dumps(manifest)


@pytest.mark.parametrize(
    ("change", "value", "why"),
    [
        (MANIFEST, reversed_levels, "SHA-256 differs"),
        (MANIFEST.replace(":value", "CAST(:value AS TEXT)"), lambda: b"{\xff\xfe}", "no text in UTF-8"),
        (
            "UPDATE model_versions SET created_at = :value WHERE version = 'bad'",
            lambda: "yesterday",
            "its row cannot be read",
        ),
        (ARRAYS, lambda: "no arrays", "its arrays are not bytes"),
        (ARRAYS, lambda: b"", "SHA-256 differs"),
    ],
    ids=["levels", "text", "date", "arrays", "empty"],
)
def test_the_last_good_version_answers_or_the_rules_and_it_is_said(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, change: str, value: object, why: str
) -> None:
    """Before, the first was answered from in silence, the last three kept the server from starting or answering."""
    assert callable(value)
    for names, answering in ((("bad",), RULES), (("good", "bad"), "good")):
        file = tmp_path / f"{answering}.db"
        with Database(f"sqlite:///{file}") as ledger:
            store(ledger, *names)
            with ledger.writing() as connection:
                connection.execute(text(change), {"value": value()})
        with caplog.at_level(logging.ERROR), started(file) as client:
            ready, model = client.get("/ready"), client.get("/v1/model")
            assert (ready.status_code, ready.json()["status"]) == (200, "degraded")
            for said in (ready.json(), model.json()):
                assert said["model_version"] == answering
                assert said["notice"].startswith("bad is active, but cannot be used: ")
                assert why in said["notice"]
                assert said["notice"].endswith(f"{answering} answers.")
            [line] = [record for record in caplog.records if record.getMessage() == ready.json()["notice"]]
            assert (line.event, "python -m app refit" in line.todo) == ("artefact_refused", True)  # type: ignore[attr-defined]
            assert client.post("/v1/risk", json={"queries": [QUERY]}).json()["model_version"] == answering
            assert "bad" in {item["version"] for item in client.get("/v1/model/versions").json()["items"]}
            assert client.request("POST", "/v1/model/versions/bad/activate").status_code == 409


def test_a_good_ledger_is_ready(tmp_path: Path) -> None:
    with started(tmp_path / "ledger.db") as client:
        assert client.get("/ready").json() == {"status": "ready", "model_version": RULES, "notice": None}
