"""A small version of the usefulness study, and the truths and rivals that it is made of."""

import numpy as np
import pytest
from scipy import stats

from model.reference.tables import load_reference
from model.synthetic import draw_truth, true_predictor
from tests.studies.importers import N_NEW_BOXES, NEXT_QUARTER, Importer, draw_importer
from tests.studies.rivals import PSEUDO_PLANTS, genus_frequencies, gradient_boosting, logistic_regression
from tests.studies.truths import LOGISTIC_CENTRE, LOGISTIC_SCALE, TRUTHS, Drawn, draw_outcomes
from tests.studies.usefulness import OWN, RIVALS, RULES, cell, plant_score, table

N_BOXES, N_IMPORTERS = 30, 4


@pytest.fixture(scope="module")
def importer() -> Importer:
    return draw_importer(load_reference(), N_BOXES, rng=np.random.default_rng(5), new_quarter=NEXT_QUARTER)


@pytest.fixture(scope="module")
def drawn(importer: Importer) -> Drawn:
    truth = draw_truth(load_reference(), importer.observations, rng=np.random.default_rng(6))
    n = len(importer.lines)
    return Drawn(importer, truth, true_predictor(importer.observations, truth), np.zeros(n), np.zeros(n))


def test_new_boxes_come_after_those_known(importer: Importer) -> None:
    assert len(set(importer.known_lines["shipment"])) == N_BOXES
    assert len(set(importer.new_lines["shipment"])) == N_NEW_BOXES
    assert set(importer.new_lines["quarter"]) == {NEXT_QUARTER}
    assert importer.known_lines["quarter"].max() < NEXT_QUARTER


def test_plant_score_by_hand() -> None:
    chances = np.array([[0.5, 0.25, 0.25], [1.0, 0.0, 0.0]])
    counts = np.array([[2.0, 1.0, 0.0, 3.0], [5.0, 0.0, 0.0, 5.0]])
    assert plant_score(chances, counts) == pytest.approx((2 * np.log(0.5) + np.log(0.25)) / 8)


def test_log_logistic_tolerance_has_the_gumbels_mean_and_sd() -> None:
    own = stats.logistic(LOGISTIC_CENTRE, LOGISTIC_SCALE)
    assert own.mean() == pytest.approx(stats.gumbel_l.mean())
    assert own.std() == pytest.approx(stats.gumbel_l.std())


@pytest.mark.parametrize("name", TRUTHS)
def test_chances_add_up_and_differ_from_the_model_alone(name: str, drawn: Drawn) -> None:
    chances = TRUTHS[name](drawn, np.random.default_rng(7)).chances()
    assert chances.min() >= 0
    np.testing.assert_allclose(chances.sum(axis=1), 1.0, atol=1e-12)
    same = np.allclose(chances, TRUTHS["the model"](drawn, np.random.default_rng(7)).chances())
    assert same == (name == "the model")


def test_lots_share_a_fate_across_boxes(drawn: Drawn) -> None:
    effect = TRUTHS["lots that share a fate"](drawn, np.random.default_rng(8)).eta - drawn.eta
    lines = drawn.importer.lines
    lots = [f"{line['seller']} {line['genus']} {line['quarter']}" for line in lines]
    assert len({(lot, round(e, 9)) for lot, e in zip(lots, effect, strict=True)}) == len(set(lots))
    assert len(set(lots)) < len({(lot, line["shipment"]) for lot, line in zip(lots, lines, strict=True)})


def test_a_seller_gets_worse_by_the_quarter(drawn: Drawn) -> None:
    gap = TRUTHS["a seller who gets worse"](drawn, np.random.default_rng(9)).eta - drawn.eta
    worse = gap > 0
    assert len(set(drawn.importer.lines["seller"][worse])) == 1
    slope = np.unique(np.round(gap[worse] / drawn.importer.lines["quarter"][worse], 9))
    assert len(slope) == 1


def test_genus_frequencies_by_hand(importer: Importer) -> None:
    known = np.zeros((int(importer.known.sum()), 4))
    known[:, 3] = 10.0
    genus = str(importer.new_lines["genus"][0])
    own = importer.known_lines["genus"] == genus
    known[own, 2], known[~own, 0] = 10.0, 10.0
    n_own, n = 10.0 * own.sum(), 10.0 * len(own)
    expected = (n_own + PSEUDO_PLANTS * (n_own + 1.0) / (n + 3.0)) / (n_own + PSEUDO_PLANTS)
    assert genus_frequencies(importer, known)[0, 2] == pytest.approx(expected)


@pytest.mark.parametrize("learner", [logistic_regression, gradient_boosting])
def test_learners_give_a_chance_to_what_they_have_not_seen(learner: type, importer: Importer) -> None:
    truth = draw_truth(load_reference(), importer.observations, rng=np.random.default_rng(6))
    counts = draw_outcomes(importer, truth, "the model", rng=np.random.default_rng(7))
    counts[:, 0] += counts[:, 2]
    counts[:, 2] = 0.0
    chances = np.asarray(learner(importer, counts[importer.known]))
    assert chances.shape == (len(importer.new_lines), 3)
    # About what one pseudo-plant among all plants says.
    assert chances[:, 2].min() > 0.4 / (counts[importer.known, 3].sum() + 3.0)
    np.testing.assert_allclose(chances.sum(axis=1), 1.0)


@pytest.mark.long
def test_this_model_beats_the_rules_and_is_not_far_behind_any_rival() -> None:
    result = cell("the model", N_BOXES, N_IMPORTERS)
    assert result["importers"] == N_IMPORTERS
    assert result["partial"], "four importers are not the study"
    assert result["gains"][RULES]["gain"] > 0
    for rival in RIVALS:
        assert result["scores"][OWN] > result["scores"][rival] - 0.02, rival
    assert f"| the model | {N_BOXES} | {N_IMPORTERS} |" in table({"cells": {f"the model, {N_BOXES}": result}})
