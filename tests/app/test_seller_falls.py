"""A seller whose newest boxes came as if its plants now lasted half as long is named, by the fit of all boxes."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import special

from app.learning.falls import FALL_DRAWS, by_fit_of_all, by_fit_of_others, newest_boxes, seller_falls
from app.learning.fit import Recorded
from app.lessons.sellers import seller_lessons
from app.schemas import Trend
from app.sellers.sellers import answer_seller
from app.sellers.trend import seller_trend, told_fall
from app.serving.engine import Engine, rules_draws
from app.store.database import Database
from model.fit import RATES, Observations, Observed, box_log_likelihoods, observe
from model.predict import PosteriorDraws
from model.reference.tables import load_reference
from tests.app.fits import fill, fitted_engine, recorded
from tests.app.ledger_files import csv_bytes
from tests.app.test_seller_trend import LEDGER, shipments

REFERENCE = load_reference()
HALF = np.log(2.0)


@pytest.fixture(scope="module")
def four_boxes(tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    """Return three boxes of a seller, the oldest recorded last, and one of another."""
    data = csv_bytes(
        *shipments("Three", date(2026, 7, 6), 2, 1),
        *shipments("Three", date(2026, 1, 5), 1, 2),
        *shipments("One", date(2026, 8, 3), 1, 2),
    )
    with Database(f"sqlite:///{tmp_path_factory.mktemp('falls') / 'ledger.db'}") as database:
        fill(database, data)
        return recorded(database)


def newest_of(boxes: Recorded) -> dict[str, NDArray[np.intp]]:
    return newest_boxes(boxes.observed.observations, boxes.ship_date[boxes.shipment_of_box])


def given(observed: Observed) -> PosteriorDraws:
    """Return draws of the rules of thumb given some boxes: weighed and drawn anew (Rubin 1988, SIR algorithm)."""
    prior = rules_draws(REFERENCE)
    chances = special.softmax(box_log_likelihoods(observed, prior, wrong=RATES).sum(axis=1))
    return prior.take(np.random.default_rng(1).choice(prior.n_draws, size=prior.n_draws, p=chances))


def test_newest_boxes_are_those_shipped_last_of_sellers_with_three(four_boxes: Recorded) -> None:
    newest = newest_of(four_boxes)
    assert list(newest) == ["three"]
    shipped = four_boxes.ship_date[four_boxes.shipment_of_box][newest["three"]]
    assert shipped.astype(str).tolist() == ["2026-07-11", "2026-07-06"]


def test_ratio_is_that_of_draws_without_the_boxes(four_boxes: Recorded) -> None:
    """Beside the definition: mean chance of the newest counts after a fall over that as ever, by draws without them.

    The boxes after a fall are those of a table with twice the days.
    """
    observed, newest = four_boxes.observed, newest_of(four_boxes)["three"]
    others = np.setdiff1d(np.arange(4), newest)
    without, lines = given(observed.of_boxes(others)), four_boxes.lines.lines.copy()
    some = without.take(np.arange(FALL_DRAWS))
    as_ever = box_log_likelihoods(observed, some)[:, newest]
    lines["log_days"] += HALF
    fallen = box_log_likelihoods(observe(lines, four_boxes.lines.counts, REFERENCE), some)[:, newest]
    both = float(special.logsumexp(fallen.sum(axis=1)) - special.logsumexp(as_ever.sum(axis=1)))

    def fit(observations: Observations) -> PosteriorDraws:
        assert observations.n_boxes == len(others)
        return without

    by_all = by_fit_of_all(observed, newest, given(observed))
    by_others = by_fit_of_others(observed, newest, fit)
    assert by_others is not None
    assert [found.sure for found in by_all] == [True, True]
    assert by_others[1].log_ratio == pytest.approx(both, abs=0.01)
    assert by_all[1].log_ratio == pytest.approx(both, abs=0.1)
    assert by_all[0].log_ratio == pytest.approx(by_others[0].log_ratio, abs=0.1)
    assert abs(both) > 0.5  # far from saying nothing
    shipped = four_boxes.ship_date[four_boxes.shipment_of_box]
    assert seller_falls(observed, shipped, given(observed), fit=fit) == {
        "three": tuple(found.log_ratio for found in by_all)
    }


def engine_with(*likelier: float, key: str = "steady") -> Engine:
    """Return the engine of a fit that found these likelihood ratios of the newest boxes of a seller."""
    fit = fitted_engine(LEDGER).fit
    assert fit is not None
    return Engine.of("fit-test", replace(fit, falls={key: tuple(np.log(likelier))}))


def trend(name: str, *likelier: float) -> Trend:
    return seller_trend(engine_with(*likelier, key=name.casefold()), name.casefold(), name)


def test_fall_is_told_with_its_boxes_and_how_much_likelier() -> None:
    found = trend("Steady", 2.0, 14.2)
    assert found.verdict == "maybe_worse"
    assert found.fall is not None
    assert (found.fall.boxes, found.fall.named) == (2, True)
    assert found.fall.times_likelier == pytest.approx(14.2)
    assert found.text.startswith(
        "The last 2 boxes of Steady came as if its plants now lasted half as long: 14 times likelier than that nothing "
        "changed. Plants sent in 2026 Q3 last "
    )
    one = trend("One Season", 5000.0, 3.0)
    assert one.text == (
        "The last box of One Season came as if its plants now lasted half as long: over 1,000 times likelier than that "
        "nothing changed."
    )
    assert trend("Worse", 2.0, 14.2).verdict == "worse"


@pytest.mark.parametrize("likelier", [(0.1, 0.2), (4.0, 3.6)])
def test_what_one_seller_in_twenty_reaches_unchanged_is_not_told(likelier: tuple[float, float]) -> None:
    """The bounds are those of tests/studies/results/drift.json: 4.1 and 3.7 times."""
    found = trend("Steady", *likelier)
    assert found.verdict == "no_change_seen"
    assert found.text.startswith("No change of Steady is seen")
    assert found.fall is not None
    assert not found.fall.named


def test_nothing_is_said_of_a_fall_that_was_not_looked_for() -> None:
    assert told_fall(()) is None
    assert fitted_engine(LEDGER).fit is not None
    assert trend("Rare").fall is None


def test_fall_is_a_lesson(database: Database) -> None:
    fill(database, LEDGER)
    seller = answer_seller(database, engine_with(2.0, 14.2), "Steady")
    assert [lesson.text for lesson in seller_lessons(seller) if lesson.code == "getting_worse"] == [
        "The last 2 boxes of Steady came as if its plants now lasted half as long: ask what changed before you order "
        "again; from 24 boxes."
    ]
