"""Boxes lost whole: in the draws of a comparison, and the chance of each recorded box to be one."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from app.batch import prepare
from app.comparing.simulation import BatchSimulation
from app.doubts.count_evidence import SCREENING_DRAWS, CountEvidence
from app.doubts.variants import variants
from app.main import create_app
from app.serving import Engine
from app.settings import Settings
from app.store.arrived import read_arrived, read_logger, read_plans
from app.store.database import Database
from model.fit import RATES, box_log_likelihoods, observe
from tests.app.batches import compare_request, engine
from tests.app.client import running_client
from tests.app.ledger_files import csv_bytes, row
from tests.app.shipment_calls import PATH

DRAWS = 4096


def simulation(lost: float) -> BatchSimulation:
    """Return a simulation by the rules of thumb with a chance of its own to lose a box."""
    own = engine()
    draws = own.draws
    parameters = replace(draws.parameters, lost=np.full(draws.n_draws, lost))
    losing = Engine(own.model_version, own.reference, replace(draws, parameters=parameters))
    prepared = prepare(compare_request(), losing)
    return BatchSimulation(losing, prepared.lines, draws=DRAWS, seed=3)


def test_boxes_are_lost_in_their_share_each_for_itself() -> None:
    drawn = simulation(0.3)
    first, second = drawn.numbers.lost(0), drawn.numbers.lost(1)
    error = np.sqrt(0.3 * 0.7 / DRAWS)
    assert first.mean() == pytest.approx(0.3, abs=4 * error)
    # binomial: two boxes are lost together as independent ones are
    assert (first & second).mean() == pytest.approx(0.09, abs=4 * np.sqrt(0.09 * 0.91 / DRAWS))
    np.testing.assert_array_equal(first, simulation(0.3).numbers.lost(0))
    assert not simulation(0.0).numbers.lost(0).any()


THREE_DAYS = {"ship_date": "2026-07-01", "arrival_date": "2026-07-04", "inside_temp_c": "20"}
FOUND = {
    "dead": {"sent": "20", "healthy": "0", "damaged": "1", "dead": "19"},
    "well": {"sent": "20", "healthy": "19", "damaged": "1", "dead": "0"},
}
FILE = csv_bytes(*(row(shipment=name, genus="Hoya", **THREE_DAYS, **counts) for name, counts in FOUND.items()))


def test_a_box_has_its_own_chance_of_having_been_lost(tmp_path: Path) -> None:
    """By Bayes, with the counts' chances in a lost box and in a wrong record from the distributions of scipy."""
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    with running_client(create_app(Settings(database_url=url))) as client:
        client.post(f"{PATH}/import", content=FILE, headers={"content-type": "text/csv"}).raise_for_status()
        items = client.get(PATH).json()["items"]
        told = {
            item["reference"]: client.get(f"{PATH}/{item['id']}").json()["arrival"]["lost_whole_chance"]
            for item in items
        }
    with Database(url) as database, database.reading() as connection:
        own = engine()
        ledger = read_arrived(connection)
        recorded = variants(
            ledger, read_logger(connection), read_plans(connection), np.arange(2), [None, None], own.reference
        )
    evidence = CountEvidence.of(recorded, own.draws, np.zeros(2, dtype=bool))
    assert [told["dead"], told["well"]] == pytest.approx(evidence.lost.tolist(), rel=1e-9)

    draws = own.draws.take(np.arange(SCREENING_DRAWS))
    chance = draws.parameters.lost
    clock_alone = replace(draws, parameters=replace(draws.parameters, lost=np.zeros_like(chance)))
    observed = observe(recorded.table.lines, recorded.table.counts, own.reference)
    by_clock = np.exp(box_log_likelihoods(observed, clock_alone, wrong=RATES._replace(box=0.0), for_weights=True))
    of_lost = (RATES.healthy, 1.0 - RATES.healthy - RATES.dead, RATES.dead)
    for box, counts in enumerate(recorded.table.counts[:, :3].astype(int)):
        lost = chance * stats.multinomial.pmf(counts, 20, of_lost)
        anything = stats.dirichlet_multinomial.pmf(counts, np.ones(3), np.array(20))
        right = lost + (1.0 - chance) * by_clock[:, box]
        whole = (1.0 - RATES.box) * right + RATES.box * anything
        assert evidence.lost[box] == pytest.approx((1.0 - RATES.box) * lost.mean() / whole.mean(), rel=1e-3)
    assert told["well"] < 1e-6
    assert 0.2 < told["dead"] < 1.0
