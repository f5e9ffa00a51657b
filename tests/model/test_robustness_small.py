"""A small form of the robustness study, and ledgers whose records contradict each other."""

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import linalg

from model.fit.inner_mode import ConvergenceError
from model.fit.positive_definite import lower_factor
from model.fit.strays import RATES, StrayRates
from model.fit.survival import TransitSurvival
from model.reference.tables import load_reference
from model.synthetic import draw_truth
from tests.studies.importers import NEXT_QUARTER, draw_importer
from tests.studies.robustness import FAULTS, SEED, Record, scores, summarise, table
from tests.studies.truths import draw_outcomes

Array = NDArray[np.float64]

N_BOXES = 30


def swapped(i: int) -> Record:
    """Return the lines and counts of importer i's 30 boxes, healthy and dead swapped in 11 rows."""
    reference = load_reference()
    rng = np.random.default_rng([SEED, N_BOXES, i])
    importer = draw_importer(reference, N_BOXES, rng=rng, new_quarter=NEXT_QUARTER)
    counts = draw_outcomes(importer, draw_truth(reference, importer.observations, rng=rng), "the model", rng=rng)
    told = counts[importer.known].copy()
    rows = np.random.default_rng(i).choice(len(told), 11, replace=False)
    told[rows] = told[rows][:, [2, 1, 0, 3]]
    return importer.known_lines, told


@pytest.mark.parametrize("strays", [pytest.param(RATES, marks=pytest.mark.long), None], ids=["robust", "plain"])
def test_rows_swapped_end_in_a_fit_or_in_remedies(strays: StrayRates | None) -> None:
    """With plain Cholesky factors importer 2 ended the plain fit in a LinAlgError, the covariance being singular."""
    lines, told = swapped(2)
    fit = TransitSurvival(n_draws=256, n_weighed=512, random_state=2, strays=strays)
    refusal = ""
    try:
        fit.fit(lines, told)
    except ConvergenceError as error:
        refusal = str(error)
    if strays is not None:
        assert refusal == ""
    if refusal:
        assert "contradict each other" in refusal
    else:
        assert np.isfinite(fit.predict_proba(lines)).all()


def test_a_covariance_that_is_singular_has_a_factor_near_it() -> None:
    vectors = np.linalg.qr(np.random.default_rng(7).standard_normal((4, 4)))[0]
    matrix = (vectors * np.array([2.0, 1.0, 0.5, -1e-12])) @ vectors.T
    with pytest.raises(linalg.LinAlgError):
        linalg.cholesky(matrix, lower=True)
    factor = lower_factor(matrix)
    np.testing.assert_allclose(factor @ factor.T, matrix, atol=3e-6)
    np.testing.assert_array_equal(factor, np.tril(factor))


def test_faults_are_planted_in_known_boxes_alone() -> None:
    reference = load_reference()
    rng = np.random.default_rng([SEED, N_BOXES, 0])
    importer = draw_importer(reference, N_BOXES, rng=rng, new_quarter=NEXT_QUARTER)
    counts = draw_outcomes(importer, draw_truth(reference, importer.observations, rng=rng), "the model", rng=rng)
    for name, fault in FAULTS.items():
        lines, told = fault(importer, counts, reference, np.random.default_rng(8))
        np.testing.assert_array_equal(told[~importer.known], counts[~importer.known])
        differs = (told != counts) & ~(np.isnan(told) & np.isnan(counts))
        moved = differs.any(axis=1) | (lines["log_days"] != importer.lines["log_days"]).reshape(len(told), -1).any(
            axis=1
        )
        assert moved[importer.known].any() == (name != "right"), name
        np.testing.assert_allclose(told[:, :3].sum(axis=1), told[:, 3])


@pytest.mark.long
def test_boxes_in_fahrenheit_cost_the_robust_fit_less() -> None:
    """Importer 0's boxes fit two explanations: two records are wrong, or days hardly matter; the answer keeps both."""
    faults = ("right", "Fahrenheit")
    robust, plain = (scores(N_BOXES, 0, faults, plain=plain, n_weighed=512) for plain in (False, True))
    assert robust["Fahrenheit"] > plain["Fahrenheit"] + 0.1
    assert robust["Fahrenheit"] > robust["right"] - 0.06
    assert summarise([robust], faults)["Fahrenheit"]["refused"] == []


@pytest.mark.long
def test_boxes_in_fahrenheit_hardly_move_the_fit_where_others_tell_of_days() -> None:
    robust = scores(N_BOXES, 1, ("right", "Fahrenheit"), n_weighed=512)
    assert robust["Fahrenheit"] > robust["right"] - 0.03


def test_the_table_tells_every_record() -> None:
    row: dict[str, Any] = {"boxes": 30, "rules": -0.5, "true shipment sd": 1.0, "true kappa": 5.0}
    for name in FAULTS:
        row |= {name: -0.4, f"{name}: shipment sd": 1.1, f"{name}: kappa": 5.0, f"{name}: effective": 300.0}
        row |= {f"{name}: stacked": -0.42, f"{name}: left out": [-0.1, 0.3]}
    lines = table({"cells": {"30, robust": summarise([row, row])}}).splitlines()[2:]
    assert len(lines) == len(FAULTS)
    assert all("| 30 | robust |" in line and "| -0.1 (-0.1) | 0.0 (0.0) |" in line for line in lines)


def test_what_is_served_is_the_fit_or_the_rules_by_what_the_boxes_left_out_say() -> None:
    """Worse by .1 a box with an error of .3 / sqrt(30) = .055: served if two errors are allowed, not if one is."""
    row: dict[str, Any] = {"boxes": 30, "rules": -0.5, "true shipment sd": 1.0, "true kappa": 5.0, "right": -0.4}
    row |= {"right: shipment sd": 1.1, "right: kappa": 5.0, "right: effective": 300.0}
    row |= {"right: stacked": -0.42, "right: left out": [-0.1, 0.3]}
    cell = summarise([row, row], ("right",))["right"]
    assert cell["stacked, worse than rules"]["mean"] == pytest.approx(-0.08)
    served = {gate: told["mean"] for gate, told in cell["served, worse than rules"].items()}
    assert served["-2 standard errors"] == pytest.approx(-0.1)
    assert served["-1 standard errors"] == served["0 standard errors"] == served["1 standard errors"] == 0.0
