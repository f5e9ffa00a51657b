"""Learning without being asked, by real servers: answers change with a box, and refits follow."""

from pathlib import Path

import httpx
import pytest

from app.clock import moment
from app.learning.job import run_refit
from app.serving.engine import Engine
from app.serving.refits import request_refit
from app.serving.self_learning import batch
from app.settings import Settings
from app.store.database import Database
from app.store.quick_updates import learned_revision, refit_under_way
from app.store.refits import FAILED
from app.store.revisions import ledger_revision
from tests.app.batches import BATCH, COURIER, MONDAY, Fields
from tests.app.fits import FEW_DRAWS, fill, likely_ledger
from tests.app.ledger_files import csv_bytes, row
from tests.app.servers import server, until
from tests.app.shipment_calls import PLAN

RULES = Engine.load().model_version
POOR = row(shipment="late-1", healthy="13", damaged="3", dead="4", inside_temp_c="20")
AT_ONCE = {"TRANSIT_QUICK_UPDATE": "true"}
BY_ITSELF = {"TRANSIT_REFIT_AFTER": "auto", "TRANSIT_REFIT_DRAWS": str(FEW_DRAWS)}
RISK = {"queries": [{"genus": "Aglaonema", "transit_days": 5, "temperature": {"inside_c": 20}}]}
COMPARE = BATCH | {"ship_date": MONDAY, "routes": [COURIER]}
HOLD = BATCH | {"earliest": MONDAY, "latest": "2027-01-12", "routes": [COURIER]}


def named(client: httpx.Client) -> str:
    version: str = client.get("/health").json()["model_version"]
    return version


def asked(client: httpx.Client) -> dict[str, Fields]:
    """Return every kind of answer, by its path."""
    bodies = {"/v1/risk": RISK, "/v1/compare": COMPARE, "/v1/hold": HOLD}
    return {path: client.post(path, json=body).raise_for_status().json() for path, body in bodies.items()}


def unbox(client: httpx.Client, healthy: tuple[int, int] = (13, 8)) -> None:
    """Plan a box, send it and count what came: less than the rules of thumb expect, unless said otherwise."""
    planned = client.post("/v1/shipments", json=PLAN | {"ship_date": "2027-01-28"}).raise_for_status()
    path, headers = planned.headers["location"], {"if-match": planned.headers["etag"]}
    left = client.patch(path, json={"departed_at": "2027-01-28T09:00:00+07:00"}, headers=headers).raise_for_status()
    counts = [(own, (sent - own + 1) // 2, (sent - own) // 2) for own, sent in zip(healthy, (20, 12), strict=True)]
    lines = [{"line": i, "healthy": h, "damaged": m, "dead": d} for i, (h, m, d) in enumerate(counts)]
    arrival = {"arrived_at": "2027-02-02T10:00:00+00:00", "lines": lines}
    client.put(f"{path}/arrival", json=arrival, headers={"if-match": left.headers["etag"]}).raise_for_status()


@pytest.mark.long
def test_unboxing_changes_all_answers_of_every_server_and_their_forecasts_are_scored(tmp_path: Path) -> None:
    """By rules of thumb, without any refit, on the day before the boxes arrive."""
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    later = AT_ONCE | {"TRANSIT_NOW": "2027-02-01T12:00:00+00:00"}
    with server(url, **later) as one, server(url, **later) as two:
        before = asked(one)
        assert {answer["model_version"] for answer in before.values()} == {RULES}
        unbox(one)
        until(lambda: named(one) != RULES and named(one) == named(two))
        version = named(one)
        assert version.startswith(f"{RULES}+1-box-r")
        after, other = asked(one), asked(two)
        assert after == other
        assert {answer["model_version"] for answer in after.values()} == {version}
        chances = [answer["/v1/risk"]["results"][0]["healthy"]["mean"] for answer in (before, after)]
        assert chances[1] < chances[0]
        means = [answer["/v1/compare"]["routes"][0]["plants"]["healthy"]["mean"] for answer in (before, after)]
        assert means[1] < means[0]
        assert one.get("/v1/model").json()["update"]["boxes"] == 1
        # The next box is forecast by what the first one showed, and scored when it comes.
        unbox(two, (17, 11))
        until(lambda: "+2-boxes-r" in named(one))
        scored = one.get("/v1/track-record").raise_for_status().json()
        assert scored["boxes"] == 2
        assert {by["model_version"]: by["boxes"] for by in scored["forecasts_by"]} == {RULES: 1, version: 1}
        assert scored["model_version"] == named(one)


@pytest.mark.long
def test_a_refit_follows_each_box_and_goes_through_the_gate(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    with server(url, **AT_ONCE, **BY_ITSELF) as client, Database(url) as ledger:
        assert named(client) == RULES

        def fits() -> list[str]:
            items = client.get("/v1/model/versions").json()["items"]
            return [item["version"] for item in items if item["version"].startswith("fit-")]

        def settled() -> bool:
            """Whether a refit has seen all of the ledger."""
            with ledger.reading() as connection:
                return learned_revision(connection) == ledger_revision(connection)

        client.post("/v1/shipments/import", content=likely_ledger(8, 1)).raise_for_status()
        until(settled)
        [first] = fits()
        until(lambda: named(client) == first)
        client.post("/v1/shipments/import", content=csv_bytes(POOR)).raise_for_status()
        until(settled)
        assert len(fits()) == 2
        # All boxes are in the newest fit, so none is weighed beside it.
        until(lambda: named(client) == fits()[0])
        assert client.get("/v1/model").json()["update"] is None
        assert client.get("/v1/model").json()["boxes"] == 9


@pytest.mark.long
def test_a_refit_that_is_due_is_taken_up_by_the_next_server(tmp_path: Path) -> None:
    """One that was stopped with its server, too."""
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    with Database(url) as ledger:
        fill(ledger, likely_ledger(8, 1))

        def under_way() -> bool:
            with ledger.reading() as connection:
                return refit_under_way(connection, now=moment())

        with server(url, **BY_ITSELF):
            until(under_way)
        assert not under_way()
        with server(url) as client:
            assert client.get("/v1/model/versions").json()["items"][0]["version"] == RULES
        with server(url, **BY_ITSELF) as client:
            until(lambda: named(client).startswith("fit-"))


def test_a_ledger_that_a_refit_failed_at_is_not_tried_again(tmp_path: Path) -> None:
    """Its only box had no plant in it; the failure counts as having seen it."""
    with Database(f"sqlite:///{tmp_path / 'ledger.db'}") as ledger:
        fill(ledger, csv_bytes(row(sent="0", healthy="0", damaged="0", dead="0")))
        queued, _ = request_refit(ledger)
        assert run_refit(ledger, queued.id).state == FAILED
        with ledger.reading() as connection:
            assert learned_revision(connection) == ledger_revision(connection) > 0


@pytest.mark.parametrize(
    ("after", "n_boxes", "expected"),
    [
        ("auto", 1, 1), ("auto", 99, 1), ("auto", 100, 2), ("auto", 1000, 20), ("auto", 10_000, 200),
        (5, 3, 5), (5, 10_000, 5), ("off", 10, None),
    ],
)  # fmt: skip
def test_small_ledgers_are_fitted_after_each_box_and_large_ones_in_batches(
    after: object, n_boxes: int, expected: int | None
) -> None:
    """Worked out by hand from the words of the setting: one new box for every 50, and each below 100."""
    settings = Settings(refit_after=after)  # type: ignore[arg-type]
    assert batch(settings.refit_after, n_boxes) == expected


def test_the_setting_is_read_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TRANSIT_REFIT_AFTER", "12")
    assert Settings().refit_after == 12
    monkeypatch.setenv("TRANSIT_REFIT_AFTER", "0")
    with pytest.raises(ValueError, match="refit_after"):
        Settings()
    monkeypatch.delenv("TRANSIT_REFIT_AFTER")
    monkeypatch.delenv("TRANSIT_QUICK_UPDATE")
    assert (Settings().refit_after, Settings().quick_update) == ("auto", True)
