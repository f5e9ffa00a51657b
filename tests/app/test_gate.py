"""The gate that a fitted candidate passes before it serves, and the unit in which it is compared: a box left out."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from app.learning.gate import Verdict, judge, outside, too_far
from app.learning.left_out import Compared, left_out_score, scores_by_box
from app.serving.engine import rules_draws
from model.fit.box_predictive import box_log_predictive
from model.fit.lines import observe
from model.fit.survival import TransitSurvival
from model.predict.predict import PosteriorDraws
from model.reference.tables import load_reference
from tests.model.ledgers import table

NOTHING = np.zeros(0)


def verdict(difference: np.ndarray = NOTHING, *, n_new: int | None = None, candidate: Any = None) -> Verdict:
    """Return the verdict on a candidate, the rules of thumb unless given, against the rules of thumb."""
    active = rules_draws(load_reference())
    n_new = len(difference) if n_new is None else n_new
    return judge(candidate or active, active, difference=difference, n_new=n_new, before="the version before")


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
        (
            spread(25, -0.45, 1.0),
            False,
            "beyond noise, on 25 boxes left out one by one (log score worse by 0.450 a box, standard error 0.200)",
        ),
        (spread(25, -0.35, 1.0), True, "no worse beyond noise"),
        (
            spread(25, 0.3, 1.0),
            True,
            "better than the version before, on 25 boxes left out one by one (log score better by 0.300 a box",
        ),
        (spread(20, -0.5, 1.0), False, "worse than the version before, beyond noise, on 20 boxes left out one by one"),
        (spread(3, -9.0, 1.0), False, "worse than the version before, beyond noise, on 3 boxes left out one by one"),
        (spread(2, -9.0, 1.0), True, "2 boxes are too few to compare it with the version before"),
    ],
)
def test_only_a_loss_beyond_two_standard_errors_rejects(difference: np.ndarray, activate: bool, words: str) -> None:
    """Mean + 2 standard errors is -0.05, 0.05, 0.7 and -0.053 for the first four."""
    said = verdict(difference)
    assert said.activate == activate
    assert words in said.reason


def test_a_candidate_that_predicts_all_boxes_as_the_active_version_does_is_no_worse() -> None:
    said = verdict(np.zeros(25))
    assert said.activate
    assert "no worse beyond noise" in said.reason
    assert "(log score apart by 0.000 a box" in said.reason


def test_boxes_that_the_active_version_knows_are_compared_too() -> None:
    said = verdict(spread(25, 0.3, 1.0), n_new=1)
    assert "on 25 boxes left out one by one (1 new or corrected since that was made)" in said.reason


def test_too_few_boxes_ask_for_the_rules_of_thumb() -> None:
    said = verdict(np.zeros(1))
    assert said.activate
    assert "one box is too few to compare it with the version before" in said.reason
    assert verdict(candidate=shifted(0.2)).activate
    broken = verdict(candidate=shifted(4.0))
    assert not broken.activate
    assert "no longer answers the rule of thumb" in broken.reason


def test_how_far_an_answer_lies_outside_its_range() -> None:
    """The prior meets its rules; a hazard e^4 times as high moves log H by 4 less what averaging takes back."""
    rules = load_reference().rules
    assert outside(rules, shifted(0.0)).max() == 0.0
    away = outside(rules, shifted(4.0))
    assert away.max() > 0.5
    assert (outside(rules, shifted(8.0)) >= away).all()


def test_beyond_a_range_twice_as_wide_an_answer_lies_half_as_far() -> None:
    """In widths of log H = log(-log healthy): the end that the answer is beyond stays, the other moves away."""
    rules = [rule for rule in load_reference().rules if rule.outcome == "healthy"]
    rule = rules[int(outside(rules, shifted(4.0)).argmax())]
    near, far = np.log(-np.log([rule.low, rule.high]))
    wider = replace(rule, high=float(np.exp(-np.exp(2.0 * far - near))))
    narrow, wide = outside([rule, wider], shifted(4.0))
    assert narrow > 0.0
    assert wide == pytest.approx(narrow / 2.0, rel=1e-9)


def shifted_outside(widths: float) -> PosteriorDraws:
    """Return the rules of thumb with a hazard so high that one answer lies that many widths outside its range."""
    rules = load_reference().rules
    shift: float = brentq(lambda by: outside(rules, shifted(by)).max() - widths, 0.5, 9.0, xtol=1e-6)
    return shifted(shift)


@pytest.mark.parametrize(("widths", "activate"), [(0.49, True), (0.51, False)])
def test_an_answer_may_lie_half_a_width_outside_its_range(widths: float, activate: bool) -> None:
    """A range of 80 % ends 1.28 sds from its middle and is 2.56 wide: half a width on is 2.56 sds out, 99 % within."""
    assert verdict(candidate=shifted_outside(widths)).activate == activate


@pytest.mark.parametrize(("slack", "activate"), [(-0.4, True), (-0.01, True), (0.01, False)])
def test_from_a_version_that_is_out_already_it_may_move_by_a_quarter_of_a_width(slack: float, activate: bool) -> None:
    rules, far = load_reference().rules, shifted_outside(0.7)
    limits = np.maximum(0.5, outside(rules, far) + 0.25)

    def beyond(by: float) -> float:
        return float((outside(rules, shifted(by)) - limits).max())

    further = shifted(brentq(lambda by: beyond(by) - slack, 0.0, 9.0, xtol=1e-6))
    said = judge(further, far, difference=NOTHING, n_new=0, before="the version before")
    assert said.activate == activate


def test_an_answer_on_its_limit_is_not_beyond_it() -> None:
    """Half a width, or where the active version is out already a quarter more: halves and quarters are exact floats."""
    own, was = np.array([0.5, 0.75, 1.25]), np.array([0.0, 0.5, 1.0])
    assert not too_far(own, was).any()
    assert too_far(np.nextafter(own, 2.0), was).all()


# Every way in which a box of one line of two plants, and a box of two lines of one plant, can arrive.
ONE_LINE = [np.array([[h, d, 2 - h - d, 2.0]]) for h in range(3) for d in range(3 - h)]
EACH = [[1, 0, 0, 1.0], [0, 1, 0, 1.0], [0, 0, 1, 1.0]]
TWO_LINES = [np.array([one, other]) for one in EACH for other in EACH]


@pytest.mark.parametrize("ways", [ONE_LINE, TWO_LINES], ids=["a line of two plants", "two lines of one plant"])
def test_boxes_are_scored_by_the_log_probability_of_all_their_counts(ways: list[np.ndarray]) -> None:
    """Over all that can arrive they add to 1: so the unit is a box, per plant or per line they would not."""
    old = shifted(1.0)
    lines = table(["A"] * len(ways[0]), np.full(len(ways[0]), 7.0))
    total = 0.0
    for counts in ways:
        observed = observe(lines, counts, old.reference)
        (score,), (uncertain,) = left_out_score(observed, old, np.array([False]))
        total += float(np.exp(score))
        assert not uncertain
    assert total == pytest.approx(1.0, abs=2e-3)  # what quadrature of the line effects leaves


def test_a_record_that_cannot_be_decides_for_neither() -> None:
    """Sixty plants alive and well after three days at -10 °C: a slip of the thermometer's, not news of the model's."""
    old = shifted(1.0)
    frozen = table(["A"], np.array([3.0]), inside_c=-10.0)
    observed = observe(frozen, np.array([[60.0, 0.0, 0.0, 60.0]]), old.reference)
    scores = [left_out_score(observed, draws, np.array([False]))[0][0] for draws in (shifted(0.0), old)]
    by_the_clock = box_log_predictive(observed, shifted(0.0)) - box_log_predictive(observed, old)
    assert by_the_clock > 1.0
    assert abs(scores[0] - scores[1]) < 0.01


def test_a_candidate_predicts_each_box_as_fits_without_it_do() -> None:
    """One box of twelve arrives dead after three days: it too is left out, in earnest where weights would not do."""
    rng = np.random.default_rng(5)
    days = rng.uniform(3.0, 11.0, 12)
    days[4] = 3.0
    lines = table([f"box {i:02d}" for i in range(12)], days)
    lines["consignment"] = None
    dead = rng.binomial(20, 1.0 - np.exp(-((days / 10.0) ** 3))).astype(float)
    dead[4] = 20.0
    counts = np.column_stack([20.0 - dead, np.zeros(12), dead, np.full(12, 20.0)])
    rules = rules_draws(load_reference())
    observed = observe(lines, counts, rules.reference)
    candidate = TransitSurvival(random_state=1).fit(lines, counts).draws_
    compared, unknown = np.arange(12), np.zeros(12, dtype=bool)
    scores = scores_by_box(candidate, rules, observed, Compared(compared, unknown), None)
    by_rules, _ = left_out_score(observed, rules, unknown)
    assert scores.active == pytest.approx(by_rules)
    for box in (0, 4, 7):
        rest = observed.of_boxes(np.delete(compared, box))
        without = TransitSurvival(random_state=2).fit_observations(rest.observations).draws_
        own, _ = left_out_score(observed.of_boxes(np.array([box])), without, np.array([False]))
        assert scores.candidate[box] == pytest.approx(own[0], abs=0.1)


def test_a_version_that_is_far_from_the_rules_already_may_be_followed() -> None:
    far = shifted(4.0)
    assert judge(far, far, difference=NOTHING, n_new=0, before="the version before").activate
