"""The gate that a fitted candidate passes before it serves, and the unit in which it is compared: a box."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from app.learning.gate import Verdict, judge, outside
from app.learning.job import _difference as difference_by_box
from app.serving.engine import rules_draws
from model.fit.box_predictive import box_log_predictive
from model.fit.lines import observe
from model.fit.strays import RATES
from model.predict.predict import PosteriorDraws
from model.reference.tables import load_reference
from tests.model.ledgers import table


def verdict(
    difference: np.ndarray | None = None, *, n_unseen: int = 0, n_corrected: int = 0, candidate: Any = None
) -> Verdict:
    """Return the verdict on a candidate, the rules of thumb unless given, against the rules of thumb."""
    active = rules_draws(load_reference())
    return judge(
        candidate or active,
        active,
        difference=difference,
        n_unseen=n_unseen,
        n_corrected=n_corrected,
        active_version="old",
    )


def shifted(by: float) -> PosteriorDraws:
    """Return the rules of thumb with a hazard exp(by) times as high."""
    draws = rules_draws(load_reference())
    return replace(draws, parameters=replace(draws.parameters, alpha=draws.parameters.alpha + by))


def spread(n: int, mean: float, sd: float) -> np.ndarray:
    """Return n numbers of exactly this mean and standard deviation."""
    values = np.linspace(-1.0, 1.0, n)
    return np.asarray(mean + sd * values / values.std(ddof=1))


@pytest.mark.parametrize(
    ("difference", "activate", "words"),
    [
        (spread(25, -0.45, 1.0), False, "worse by 0.450 nats a box (standard error 0.200), beyond noise"),
        (spread(25, -0.35, 1.0), True, "no worse beyond noise"),
        (spread(25, 0.3, 1.0), True, "better by 0.300 nats a box"),
        (spread(20, -0.5, 1.0), False, "20 boxes that old has not seen"),
        (spread(19, -9.0, 1.0), True, "too few to judge"),
    ],
)
def test_only_a_loss_beyond_two_standard_errors_rejects(difference: np.ndarray, activate: bool, words: str) -> None:
    """Mean + 2 standard errors is -0.05, 0.05, 0.7 and -0.053 for the first four."""
    said = verdict(difference, n_unseen=len(difference))
    assert said.activate == activate
    assert words in said.reason


def test_a_candidate_that_predicts_all_boxes_as_the_active_version_does_is_no_worse() -> None:
    said = verdict(np.zeros(25), n_unseen=25)
    assert said.activate
    assert "no worse beyond noise" in said.reason


def test_too_few_boxes_ask_for_the_rules_of_thumb() -> None:
    said = verdict(n_unseen=3)
    assert said.activate
    assert "too few to judge: 3 boxes that old has not seen, 20 are needed" in said.reason
    assert verdict(n_unseen=3, candidate=shifted(0.2)).activate
    broken = verdict(n_unseen=3, candidate=shifted(4.0))
    assert not broken.activate
    assert "no longer answers the rule of thumb" in broken.reason


def test_how_far_an_answer_lies_outside_its_range() -> None:
    """The prior meets its rules; a hazard e^4 times as high moves log H by 4 less what averaging takes back."""
    rules = load_reference().rules
    assert outside(rules, shifted(0.0)).max() == 0.0
    away = outside(rules, shifted(4.0))
    assert away.max() > 0.5
    assert (outside(rules, shifted(8.0)) >= away).all()


def shifted_outside(widths: float) -> PosteriorDraws:
    """Return the rules of thumb with a hazard so high that one answer lies that many widths outside its range."""
    rules = load_reference().rules
    shift: float = brentq(lambda by: outside(rules, shifted(by)).max() - widths, 0.5, 9.0, xtol=1e-6)
    return shifted(shift)


@pytest.mark.parametrize(("widths", "activate"), [(0.49, True), (0.51, False)])
def test_an_answer_may_lie_half_a_width_outside_its_range(widths: float, activate: bool) -> None:
    """A range of 80 % ends 1.28 sds from its middle and is 2.56 wide: half a width on is 2.56 sds out, 99 % within."""
    assert verdict(n_unseen=3, candidate=shifted_outside(widths)).activate == activate


@pytest.mark.parametrize(("more", "activate"), [(-0.2, True), (0.24, True), (0.26, False)])
def test_from_a_version_that_is_out_already_it_may_move_by_a_quarter_of_a_width(more: float, activate: bool) -> None:
    far = shifted_outside(0.7)
    further = shifted_outside(0.7 + more)
    said = judge(further, far, difference=None, n_unseen=3, n_corrected=0, active_version="old")
    assert said.activate == activate


# Every way in which a box of one line of two plants, and a box of two lines of one plant, can arrive.
ONE_LINE = [np.array([[h, d, 2 - h - d, 2.0]]) for h in range(3) for d in range(3 - h)]
EACH = [[1, 0, 0, 1.0], [0, 1, 0, 1.0], [0, 0, 1, 1.0]]
TWO_LINES = [np.array([one, other]) for one in EACH for other in EACH]


@pytest.mark.parametrize("ways", [ONE_LINE, TWO_LINES], ids=["a line of two plants", "two lines of one plant"])
def test_boxes_are_compared_by_the_log_ratio_of_the_probabilities_of_all_their_counts(
    ways: list[np.ndarray], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Over all that can arrive, the old version's probability times exp(difference) is the new one's: they add to 1.

    So the unit is a box: per plant or per line they would not. All boxes are in one fold, which leaves the rules of
    thumb as the candidate.
    """
    monkeypatch.setattr("app.learning.job.MOST_BOXES_IN_FOLDS", 0)
    old = shifted(1.0)
    n_lines = len(ways[0])
    lines = table(["A"] * n_lines, np.full(n_lines, 7.0))
    total = 0.0
    for counts in ways:
        observed = observe(lines, counts, old.reference)
        (difference,) = difference_by_box(old, observed, np.array([0]), np.array([0]), None)
        total += float(np.exp(box_log_predictive(observed, old, wrong=RATES)[0] + difference))
    assert total == pytest.approx(1.0, abs=1e-5)  # what quadrature of the line effects leaves


def test_a_record_that_cannot_be_decides_for_neither(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sixty plants alive and well after three days at -10 °C: a slip of the thermometer's, not news of the model's."""
    monkeypatch.setattr("app.learning.job.MOST_BOXES_IN_FOLDS", 0)
    old = shifted(1.0)
    frozen = table(["A"], np.array([3.0]), inside_c=-10.0)
    observed = observe(frozen, np.array([[60.0, 0.0, 0.0, 60.0]]), old.reference)
    (difference,) = difference_by_box(old, observed, np.array([0]), np.array([0]), None)
    by_the_clock = box_log_predictive(observed, shifted(0.0)) - box_log_predictive(observed, old)
    assert by_the_clock > 1.0
    assert abs(difference) < 0.01


def test_a_version_that_is_far_from_the_rules_already_may_be_followed() -> None:
    far = shifted(4.0)
    assert judge(far, far, difference=None, n_unseen=3, n_corrected=0, active_version="old").activate


def test_corrected_boxes_are_not_judged() -> None:
    said = verdict(spread(25, -9.0, 1.0), n_unseen=25, n_corrected=2, candidate=shifted(4.0))
    assert said.activate
    assert "without comparison: 2 boxes were corrected that old had learned from" in said.reason
