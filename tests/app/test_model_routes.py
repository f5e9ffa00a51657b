"""The routes of the model, its versions and sellers, on both databases."""

import os
import re
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from scipy import stats
from sqlalchemy import update

from app.learned.effects import effects
from app.main import create_app
from app.serving.engine import Engine
from app.settings import Settings
from app.store.database import Database
from app.store.model_versions import StoredVersion, add_version
from app.store.schema import model_versions
from tests.app.client import Client, running_client
from tests.app.conftest import ON_ONE_DATABASE
from tests.app.fits import LEDGER, fill, fitted
from tests.app.ledger_files import SELLERS
from tests.app.test_evidence import counted
from tests.test_rooms import ROOT, TOO_HEAVY

RULES = Engine.load().model_version
STORED_AT = datetime(2027, 2, 1, 9, 31, tzinfo=UTC)
NAMED = [name for name in SELLERS if name]


@pytest.fixture
def filled(database: Database) -> Database:
    """Return a ledger with boxes and an active version that was fitted to them."""
    fill(database, LEDGER)
    model, arrays = fitted()
    with database.writing() as connection:
        add_version(connection, StoredVersion("fit-1", model.manifest.model_dump_json(), 1, True, STORED_AT), arrays)
    return database


def test_model_page_of_a_fit(filled: Database, database_url: str) -> None:
    with running_client(create_app(Settings(database_url=database_url))) as client:
        page = client.get("/v1/model").json()
    assert (page["model_version"], page["boxes"], page["notice"]) == ("fit-1", 15, None)
    assert datetime.fromisoformat(page["fitted"]) == fitted()[0].manifest.fitted_at
    effects = {(effect["kind"], effect["name"]): effect for effect in page["effects"]}
    aglaonema = effects["genus", "Aglaonema"]
    assert (aglaonema["evidence"]["boxes"], aglaonema["evidence"]["plants"]) == counted(genus="Aglaonema")
    told = re.fullmatch(
        r"Aglaonema lasts (\d+\.\d) times as long as an average aroid, 80 % (\d+\.\d)-(\d+\.\d), from (\d+) boxes",
        aglaonema["text"],
    )
    assert told is not None
    ratio = aglaonema["time_ratio"]
    assert list(told.groups()[:3]) == [f"{ratio[name]:.1f}" for name in ("p50", "p10", "p90")]
    assert told.group(4) == str(counted(genus="Aglaonema")[0])
    assert effects["genus", "Monstera"]["text"].endswith("from rules of thumb")
    assert {name for kind, name in effects if kind == "seller"} == {name.casefold() for name in NAMED}
    scales = {scale["name"]: scale for scale in page["scales"]}
    assert all(scale["posterior"] is not None for scale in scales.values())
    assert scales["h0"]["posterior"] != scales["h0"]["prior"]
    one_in = round(1.0 / scales["lost_whole"]["posterior"]["p50"])
    assert page["lost_whole"].startswith(f"About 1 box in {one_in} is lost whole")
    assert page["diagnostics"]["effective_draws"] > 0


def test_model_page_of_the_rules_of_thumb(ledger_client: Client) -> None:
    page = ledger_client.get("/v1/model").json()
    assert (page["model_version"], page["fitted"], page["boxes"]) == (RULES, None, 0)
    assert all(scale["posterior"] is None for scale in page["scales"])
    # prior_scales.csv: a median of 0.015
    assert page["lost_whole"] == "About 1 box in 67 is lost whole, whatever the route: counted in every answer."
    assert all(effect["text"].endswith("from rules of thumb") for effect in page["effects"])


def test_a_row_that_boxes_contradict_is_said_to_be_overruled() -> None:
    own = Engine.of("fit-1", fitted()[0])
    draws = own.draws
    # Effects in log hazard: minus kappa times the log of how much longer plants last.
    factor = np.exp(np.random.default_rng(5).normal(np.log(2.4), 0.2, draws.n_draws))
    moved = {**draws.effects["roots"], "dry": -draws.parameters.kappa * np.log(factor)}
    other = replace(own, draws=replace(draws, effects={**draws.effects, "roots": moved}))
    before, after = ({(e.kind, e.name): e for e in effects(one)}["roots", "dry"] for one in (own, other))
    assert before.beyond_table is None
    assert "overrule" not in before.text
    assert after.beyond_table is not None
    # Lognormal: median 2.4, 80 % within 1.2816 sds.
    spread = 0.2 * stats.norm.ppf(0.9)
    expected = [2.4 * np.exp(z) for z in (-spread, 0.0, spread)]
    p = after.beyond_table
    assert [p.p10, p.p50, p.p90] == pytest.approx(expected, rel=0.05)
    table = own.reference.roots["dry"].time_ratio
    assert after.time_ratio.p50 == pytest.approx(table * p.p50, rel=1e-9)
    assert after.text.endswith(f": {p.p50:.1f} times what the table says, which your boxes overrule")


def test_versions_are_listed_activated_and_rolled_back(filled: Database, ledger_client: Client) -> None:
    # The fixtures share a ledger; the application was started before or after the version was stored.
    listed = ledger_client.get("/v1/model/versions").json()["items"]
    assert [(version["version"], version["active"]) for version in listed] == [("fit-1", True), (RULES, False)]
    assert (listed[0]["boxes"], listed[0]["usable"], listed[1]["fitted"]) == (15, True, None)
    for name in (RULES, "fit-1", RULES):
        answer = ledger_client.post(f"/v1/model/versions/{name}/activate")
        assert (answer.status_code, answer.json()["model_version"]) == (200, name)
        assert [v["version"] for v in answer.json()["items"] if v["active"]] == [name]
        assert ledger_client.get("/health").json()["model_version"] == name


def test_a_version_that_cannot_be_used_is_not_activated(filled: Database, database_url: str) -> None:
    broken = fitted()[1][:-1]
    with filled.writing() as connection:
        connection.execute(update(model_versions).values(arrays=broken))
    with running_client(create_app(Settings(database_url=database_url))) as client:
        page = client.get("/v1/model").json()
        assert page["model_version"] == RULES
        assert page["notice"].startswith("fit-1 is active, but cannot be used")
        refused = client.post("/v1/model/versions/fit-1/activate")
        assert (refused.status_code, refused.json()["code"]) == (409, "conflict")
        assert "SHA-256" in refused.json()["detail"]


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", "/v1/model/refits/unheard-of"),
        ("POST", "/v1/model/versions/unheard-of/activate"),
        ("GET", "/v1/sellers/unheard-of"),
    ],
)
def test_what_is_not_there_is_a_problem(ledger_client: Client, method: str, path: str) -> None:
    answer = ledger_client.request(method, path)
    assert (answer.status_code, answer.headers["content-type"]) == (404, "application/problem+json")
    assert answer.json()["code"] == "not_found"


def test_refit_is_accepted_with_its_place(ledger_client: Client) -> None:
    asked = ledger_client.post("/v1/model/refit")
    assert (asked.status_code, asked.headers["location"]) == (202, f"/v1/model/refits/{asked.json()['id']}")
    waited = ledger_client.post("/v1/model/refit?wait=true")
    # An empty ledger teaches nothing.
    assert (waited.status_code, waited.json()["state"], waited.json()["version"]) == (200, "failed", None)
    assert "no arrived boxes to learn from" in waited.json()["reason"]


def test_sellers_with_their_time_ratio(filled: Database, ledger_client: Client) -> None:
    ledger_client.post("/v1/model/versions/fit-1/activate")
    answer = ledger_client.get("/v1/sellers").json()
    assert answer["model_version"] == "fit-1"
    assert {seller["name"] for seller in answer["items"]} == set(NAMED)
    for seller in answer["items"]:
        assert (seller["boxes"], seller["plants"]) == counted(seller=seller["name"])
        ratio = seller["time_ratio"]
        assert ratio["p10"] < ratio["p50"] < ratio["p90"]
        one = ledger_client.get(f"/v1/sellers/ {seller['name'].upper()}")
        assert one.json() == seller


def test_sellers_of_no_ledger(ledger_client: Client) -> None:
    assert ledger_client.get("/v1/sellers").json() == {"model_version": RULES, "items": []}


@ON_ONE_DATABASE
def test_a_server_with_a_fit_loads_none_of_the_heavy_packages(filled: Database, database_url: str) -> None:
    """In a process of its own: this one has imported them for the tests."""
    code = (
        "import os, sys\n"
        "import app.main\n"
        "from app.serving import ActiveModel\n"
        "from app.learned import answer_model\n"
        "from app.store.database import Database\n"
        "with Database(os.environ['LEDGER']) as database:\n"
        "    engine = ActiveModel(database).refresh()\n"
        "answer_model(engine)\n"
        "print(engine.model_version, sorted(set(sys.argv[1:]) & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *TOO_HEAVY, "scipy.linalg", "model.fit.survival", "model.fit.inference"],
        cwd=ROOT, env=os.environ | {"LEDGER": database_url}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.stdout.strip(), done.stderr, done.returncode) == ("fit-1 []", "", 0)
