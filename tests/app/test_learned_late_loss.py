"""Late loss from boxes that were counted again: it moves with rechecks, and with nothing else."""

from datetime import date, timedelta

import numpy as np
import pytest

from app.learning.fit import with_late_loss
from app.learning.recorded_rechecks import RecheckedLines
from app.main import create_app
from app.serving.artifacts import FittedModel
from app.serving.engine import PRIOR_SEED, STORED_DRAWS, Engine
from app.settings import Settings
from app.store.database import Database
from model.fit.survival import TransitSurvival
from model.reference.tables import load_reference
from tests.app.client import running_client
from tests.app.conftest import ON_ONE_DATABASE
from tests.app.fits import FEW_DRAWS, fill, fitted, recorded, refit
from tests.app.ledger_files import RECHECKED, csv_bytes, row


def rechecked(n: int, kept: int, *, healthy: int = 15, inside_temp_c: str = "20") -> bytes:
    """Return boxes of which so many of the healthy plants are still healthy two weeks on; kept -1: not looked at."""
    rows = []
    for i in range(n):
        ship_date = date(2026, 3, 2) + timedelta(weeks=i)
        arrival_date = ship_date + timedelta(days=5)
        cells = {
            "shipment": f"R-{i}",
            "inside_temp_c": inside_temp_c,
            "inside_min_c": f"{float(inside_temp_c) - 1:g}",
            "inside_max_c": f"{float(inside_temp_c) + 1:g}",
            "ship_date": ship_date.isoformat(),
            "arrival_date": arrival_date.isoformat(),
            "healthy": f"{healthy}",
            "damaged": f"{18 - healthy}",
        }
        if kept >= 0:
            cells |= {
                "recheck_date": (arrival_date + timedelta(days=14)).isoformat(),
                "recheck_healthy": f"{kept}",
                "recheck_damaged": f"{18 - kept}",
                "recheck_dead": "0",
                "recheck_gone": "0",
            }
        rows.append(row(**cells))
    return csv_bytes(*rows)


def late_share(model: FittedModel, dose: float) -> float:
    draws = model.draws.late_loss
    return float(draws.chance(np.full(len(draws.intercept), dose)).mean())


def lines_of(database: Database, data: bytes) -> RecheckedLines:
    fill(database, data)
    return recorded(database).rechecks


def test_without_rechecks_the_draws_are_those_of_the_fit_byte_for_byte(database: Database) -> None:
    data = rechecked(3, -1)
    fill(database, data)
    table = recorded(database).lines
    estimator = TransitSurvival(
        load_reference(), n_draws=STORED_DRAWS, n_weighed=FEW_DRAWS, random_state=PRIOR_SEED
    ).fit(table.lines, table.counts)
    own = fitted(data)[0].draws.late_loss
    for name in ("intercept", "slope"):
        assert getattr(own, name).tobytes() == getattr(estimator.draws_.late_loss, name).tobytes()
    empty = RecheckedLines(np.empty(0, dtype=np.intp), np.empty(0), np.empty(0), np.empty(0))
    assert with_late_loss(estimator.draws_, empty) is estimator.draws_


def test_rechecks_move_late_loss_and_nothing_else() -> None:
    """Nobody was chilled: what was looked at says most where there is no dose; the rule there is 3 %, 80 % 1-8 %."""
    (none, few, many) = (fitted(rechecked(8, kept))[0] for kept in (-1, 15, 9))
    assert late_share(none, 0.0) == pytest.approx(0.04, abs=0.015)
    assert late_share(few, 0.0) < 0.6 * late_share(none, 0.0)
    assert 0.2 < late_share(many, 0.0) < 0.45
    for model in (few, many):
        for name in ("alpha", "kappa", "delta", "h0", "log_q10"):
            np.testing.assert_array_equal(getattr(model.draws.parameters, name), getattr(none.draws.parameters, name))
        for level, own in model.draws.effects["seller"].items():
            np.testing.assert_array_equal(own, none.draws.effects["seller"][level])
    assert (many.manifest.n_rechecked_boxes, many.manifest.n_rechecked_plants) == (8, 8 * 15)
    assert many.manifest.diagnostics["late_loss_boxes"] == 8
    assert many.manifest.data_fingerprint != few.manifest.data_fingerprint != none.manifest.data_fingerprint


def test_arrivals_do_not_move_late_loss() -> None:
    good, bad = (fitted(rechecked(8, -1, healthy=healthy))[0] for healthy in (18, 4))
    assert good.draws.parameters.alpha.mean() < bad.draws.parameters.alpha.mean() - 0.3
    for dose in (0.0, 5.0):
        assert late_share(good, dose) == pytest.approx(late_share(bad, dose), abs=0.01)


def test_what_a_recheck_says(database: Database) -> None:
    """Of 15 healthy plants one was sold: 14 were looked at, and 13 are healthy, 1 is not."""
    sold = lines_of(database, csv_bytes(row(**(RECHECKED | {"recheck_healthy": "13", "recheck_damaged": "3"}))))
    assert (sold.looked_at.tolist(), sold.lost.tolist(), sold.box.tolist()) == ([14.0], [1.0], [0])
    assert (sold.n_boxes, sold.n_plants) == (1, 14)


@pytest.mark.parametrize(
    "cells",
    [
        {"recheck_date": "2027-01-20"},
        {"recheck_date": "2027-03-05"},
        {"recheck_healthy": "1", "recheck_damaged": "1", "recheck_dead": "0", "recheck_gone": "16"},
        {"healthy": "", "damaged": "", "dead": "2"},
    ],
    ids=["four days on", "seven weeks on", "all sold", "healthy not counted"],
)
def test_what_says_nothing_of_late_loss(database: Database, cells: dict[str, str]) -> None:
    assert lines_of(database, csv_bytes(row(**(RECHECKED | cells)))).looked_at.tolist() == []


def test_the_chill_dose_of_a_box(database: Database) -> None:
    """Aglaonema: threshold 13 °C, sensitive (1). 4 °C logged for 5 days and 7 hours, never above the threshold."""
    even = {"inside_temp_c": "4", "inside_min_c": "3", "inside_max_c": "5"}
    lines = lines_of(database, csv_bytes(row(**RECHECKED, **even)))
    by_hand = (13 - 4) * (5 + 7 / 24) * 1.0
    assert lines.chill_degree_days[0] == pytest.approx(by_hand, rel=1e-3)
    assert lines.at(0.5).chill_dose_days[0] == pytest.approx(0.5 * lines.chill_degree_days[0])


def test_hours_above_the_threshold_do_not_make_up_for_those_below(database: Database) -> None:
    """A mean of 4 °C alone leaves the journey its course: where that rises above 13 °C the rest is the colder."""
    lines = lines_of(database, csv_bytes(row(**RECHECKED, inside_temp_c="4")))
    assert (13 - 4) * (5 + 7 / 24) <= lines.chill_degree_days[0] < 1.1 * (13 - 4) * (5 + 7 / 24)


@ON_ONE_DATABASE
def test_the_page_tells_late_loss_before_and_after(database: Database, database_url: str) -> None:
    rules = Engine.load().model_version
    settings = Settings(database_url=database_url, refit_draws=FEW_DRAWS)
    with running_client(create_app(settings)) as client:
        late = client.get("/v1/model").json()["late_loss"]
        assert (late["boxes"], [share["learned"] for share in late["shares"]]) == (0, [None, None])
        # The rules: 3 % without chilling, a half after a dose of 5; means of skewed distributions lie above.
        assert [share["chill_dose_days"] for share in late["shares"]] == [0, 5]
        assert [share["rules"]["mean"] for share in late["shares"]] == [
            pytest.approx(0.04, abs=0.015),
            pytest.approx(0.5, abs=0.06),
        ]
        fill(database, rechecked(5, 9))
        # Whether it is served is the gate's to say, and not what this is about.
        version = refit(database).version
        assert client.post(f"/v1/model/versions/{version}/activate").status_code == 200
        page = client.get("/v1/model").json()
    assert page["model_version"] != rules
    late = page["late_loss"]
    assert (late["boxes"], late["plants"]) == (5, 75)
    unchilled = late["shares"][0]
    assert unchilled["learned"]["low"] > unchilled["rules"]["high"]
    assert page["assumption"].startswith(
        "Given service, seller and temperature, a box's delay says nothing else about its condition"
    )
