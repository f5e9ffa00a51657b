"""Boxes that came after the version which serves: what is found of them, and what answers make of it."""

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from app.learned.model_page import answer_model
from app.learning.later_boxes import MOST_LINES, weigh_later_boxes
from app.recorded.recorded_boxes import recorded_lines
from app.risk.risk import answer_risk
from app.schemas.risk import RiskAnswer, RiskRequest
from app.serving.active_model import ActiveModel, Awaited
from app.serving.engine import Engine
from app.serving.quick_update import QuickUpdate
from app.serving.refits import end_refit, request_refit
from app.store.arrived import read_arrived, read_logger, read_plans
from app.store.database import Database
from app.store.model_versions import StoredVersion, activate_version, add_version
from app.store.quick_updates import LEASE, claim_quick_update, learned_revision, read_quick_update
from app.store.revisions import ledger_revision
from model.reference.tables import load_reference
from tests.app.conftest import ON_ONE_DATABASE
from tests.app.fits import fill, fitted, likely_ledger
from tests.app.ledger_files import csv_bytes, random_ledger, row
from tests.moments import NOW

RULES = Engine.load().model_version
POOR = row(shipment="late-1", seller="New Seller", healthy="13", damaged="3", dead="4", inside_temp_c="20")
QUERY = {"genus": "Aglaonema", "transit_days": 5, "temperature": {"inside_c": 20}, "seller": "New Seller"}


def serve_fit(database: Database, data: bytes) -> str:
    """Import a file, make the model fitted to it the active version, and return its name."""
    fill(database, data)
    model, arrays = fitted(data)
    with database.writing() as connection:
        seen = ledger_revision(connection)
        add_version(connection, StoredVersion("fit-first", model.manifest.model_dump_json(), seen, True, NOW), arrays)
    return "fit-first"


def risk(engine: Engine) -> RiskAnswer:
    """Return the answer to one query."""
    answer = answer_risk(RiskRequest.model_validate({"queries": [QUERY]}), engine)
    return RiskAnswer.model_validate_json(answer) if isinstance(answer, bytes) else answer


def codes(answer: RiskAnswer) -> set[str]:
    return {caution.code for caution in answer.results[0].cautions}


def test_a_poor_box_changes_the_rules_answers_at_once_and_is_told(database: Database) -> None:
    fill(database, csv_bytes(POOR))
    model = ActiveModel(database)
    before = risk(model.refresh())
    assert (before.model_version, model.awaited) == (RULES, Awaited(RULES, 1))
    assert codes(before) >= {"no_own_record", "unknown_seller"}
    found = weigh_later_boxes(database)
    assert found is not None
    assert found.in_use, found.text
    engine = model.refresh()
    after = risk(engine)
    assert (after.model_version, model.awaited) == (f"{RULES}+1-box-r1", None)
    assert after.results[0].healthy.mean < before.results[0].healthy.mean - 0.02
    assert (after.results[0].evidence.shipments, after.results[0].evidence.plants) == (1, 20)
    assert not codes(after) & {"no_own_record", "unknown_seller", "refit_due"}
    told = answer_model(engine)
    assert told.update is not None
    assert (told.update.boxes, told.update.plants, told.update.in_use) == (1, 20, True)
    assert told.update.effective_draws is not None
    assert told.update.effective_draws >= 100
    assert "weighed by what it showed" in told.update.text
    [seller] = [effect for effect in told.effects if effect.kind == "seller"]
    assert (seller.name, seller.evidence.boxes) == ("new seller", 1)


def test_a_fit_takes_new_boxes_beside_its_own(database: Database) -> None:
    version = serve_fit(database, likely_ledger(30, 3))
    model = ActiveModel(database)
    assert (model.refresh().model_version, model.awaited) == (version, None)
    first = risk(model.engine)
    fill(database, csv_bytes(POOR))
    assert weigh_later_boxes(database) is not None
    engine = model.refresh()
    assert engine.model_version == f"{version}+1-box-r2"
    assert engine.counts is not None
    assert (engine.counts.n_boxes, engine.counts.n_plants) == (31, 620)
    assert risk(engine).results[0].healthy.mean < first.results[0].healthy.mean
    # Another version is another start: what the box says of this one is not said of the rules.
    with database.writing() as connection:
        activate_version(connection, None)
    assert (model.refresh().model_version, model.awaited) == (RULES, Awaited(RULES, 2))


def test_the_boxes_are_weighed_with_the_exposure_that_a_refit_takes(database: Database) -> None:
    """By weather, trace and plan alike: the rows of the later boxes are those of the whole ledger."""
    fill(database, random_ledger(12, 1))
    with database.reading() as connection:
        seen = ledger_revision(connection)
    fill(database, random_ledger(9, 2).replace(b"box-", b"later-"))
    with database.reading() as connection:
        whole, some = (
            recorded_lines(
                read_arrived(connection, after=after),
                read_logger(connection, after=after),
                load_reference(),
                read_plans(connection, after=after),
            )
            for after in (-1, seen)
        )
    assert 0 < len(some.lines) < len(whole.lines)
    own = np.isin(whole.lines["shipment"], some.lines["shipment"])
    np.testing.assert_array_equal(whole.lines[own], some.lines)
    np.testing.assert_array_equal(whole.counts[own], some.counts)


def test_a_corrected_box_leaves_the_answers_and_says_that_a_refit_is_due(database: Database) -> None:
    data = csv_bytes(row(), row(shipment="A-2", healthy="20", damaged="0", dead="0"))
    version = serve_fit(database, data)
    model = ActiveModel(database)
    first = risk(model.refresh())
    fill(database, csv_bytes(row(healthy="5", dead="12")), replace=True)
    found = weigh_later_boxes(database)
    assert found is not None
    assert found.refused == "corrected"
    engine = model.refresh()
    answer = risk(engine)
    assert answer.model_version == version
    assert answer.results[0].healthy == first.results[0].healthy
    assert codes(answer) - codes(first) == {"refit_due"}
    told = answer_model(engine).update
    assert told is not None
    assert (told.in_use, told.effective_draws) == (False, None)
    assert told.text.endswith("A refit is due.")


@ON_ONE_DATABASE
@pytest.mark.parametrize(("n", "why"), [(40, "few_draws"), (MOST_LINES + 1, "too_many")])
def test_what_is_too_much_for_weights_is_refused(database: Database, n: int, why: str) -> None:
    fill(database, likely_ledger(n, 5))
    found = weigh_later_boxes(database)
    assert found is not None
    assert found.refused == why
    engine = ActiveModel(database).refresh()
    assert (engine.model_version, codes(risk(engine)) & {"refit_due"}) == (RULES, {"refit_due"})


def test_a_box_in_which_nothing_came_says_nothing(database: Database) -> None:
    fill(database, csv_bytes(row(sent="0", healthy="0", damaged="0", dead="0")))
    found = weigh_later_boxes(database)
    assert found is not None
    assert found.in_use
    engine = ActiveModel(database).refresh()
    np.testing.assert_array_equal(engine.draws.parameters.alpha, Engine.load().draws.parameters.alpha)


def test_each_change_is_weighed_once_by_one_process(database: Database) -> None:
    fill(database, csv_bytes(POOR))
    with database.writing() as connection:
        assert claim_quick_update(connection, RULES, 1, now=NOW)
        assert not claim_quick_update(connection, RULES, 1, now=NOW + LEASE)
        assert claim_quick_update(connection, RULES, 1, now=NOW + LEASE + timedelta(seconds=1)), "given up"
    found = weigh_later_boxes(database, claimed=True)
    assert found is not None
    assert weigh_later_boxes(database) is None, "it is done"
    fill(database, csv_bytes(POOR | {"healthy": "14", "dead": "3"}), replace=True)
    again = weigh_later_boxes(database)
    assert again is not None
    assert (again.revision, again.boxes, again.refused) == (2, 1, None), (
        "new since the version, however often corrected"
    )
    assert again.suffix != found.suffix, "other counts are another model"
    with database.reading() as connection:
        assert read_quick_update(connection, RULES, 1) is None


def test_what_is_stored_comes_back_and_what_is_not_ours_is_refused(database: Database) -> None:
    fill(database, csv_bytes(POOR))
    found = weigh_later_boxes(database)
    assert found is not None
    text, draws = found.to_store()
    back = QuickUpdate.stored(text, draws, n_draws=4096)
    assert back.levels == found.levels
    assert back.draws is not None
    np.testing.assert_array_equal(back.draws, found.draws)
    with pytest.raises(ValueError, match="not those of the version"):
        QuickUpdate.stored(text, draws, n_draws=2048)
    with pytest.raises(ValueError, match="refused"):
        QuickUpdate.stored(text.replace('"refused":null', '"refused":"else"'), draws, n_draws=4096)


def test_a_stored_update_that_cannot_be_read_leaves_the_version(database: Database) -> None:
    fill(database, csv_bytes(POOR))
    assert weigh_later_boxes(database) is not None
    with database.writing() as connection:
        connection.exec_driver_sql("UPDATE quick_updates SET found_json = '{}'")
    assert ActiveModel(database).refresh().model_version == RULES


def test_an_empty_ledger_has_nothing_to_weigh(tmp_path: Path) -> None:
    with Database(f"sqlite:///{tmp_path / 'ledger.db'}") as database:
        database.prepare()
        assert weigh_later_boxes(database) is None


def test_a_refit_that_was_stopped_has_learned_nothing(database: Database) -> None:
    """Only one that came to its own end counts the boxes as seen; another is tried for what was stopped."""
    fill(database, csv_bytes(row()))
    queued, _ = request_refit(database)
    end_refit(database, queued.id)
    with database.reading() as connection:
        assert learned_revision(connection) == 0
