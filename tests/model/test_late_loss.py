"""Late loss: the rules come back, more chilling is never better, boxes differ."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from model.predict.late_loss import BOX_SD, KeptChances, LateLossDraws, draw_late_loss
from model.reference.tables import load_reference

RULES = load_reference().late_loss_rules
N = 4096
DRAWS = draw_late_loss(RULES, N, rng=np.random.default_rng(7))


def median_draw() -> LateLossDraws:
    return LateLossDraws(np.array([np.median(DRAWS.intercept)]), np.array([np.median(DRAWS.slope)]))


def test_the_rules_come_back_at_their_best_guess() -> None:
    """3 in 100 without chilling, half after a chill dose of 5 days: trade judgement, direction after UF RH-93-6."""
    assert [(rule.chill_dose_days, rule.best) for rule in RULES] == [(0, 0.03), (5, 0.5)]
    for dose, share in ((0.0, 0.03), (5.0, 0.5)):
        assert median_draw().chance(np.array([dose]))[0] == pytest.approx(share, abs=0.01)


@pytest.mark.parametrize("dose", [0.0, 0.5, 5.0, 20.0])
def test_chance_is_the_average_over_boxes(dose: float) -> None:
    """By scipy.integrate.quad over the box effect; five nodes are within 0.002."""
    draw = median_draw()
    eta = float(draw.intercept[0] + draw.slope[0] * np.log(1.0 + dose))
    expected = integrate.quad(lambda z: -np.expm1(-np.exp(eta + BOX_SD * z)) * stats.norm.pdf(z), -10, 10)[0]
    assert draw.chance(np.array([dose]))[0] == pytest.approx(expected, abs=0.002)


def test_what_is_kept_of_many_lines_is_one_less_the_chance() -> None:
    """In single precision, to doses that no plant outlives."""
    doses = np.array([0.0, 1e-4, 0.3, 5.0, 80.0, 1e4])[:, None] * np.ones(N)
    kept = KeptChances(DRAWS)
    np.testing.assert_allclose(kept(doses.astype(np.float32)), 1.0 - DRAWS.chance(doses), atol=1e-6)
    np.testing.assert_allclose(kept.unchilled, 1.0 - DRAWS.chance(np.zeros(N)), atol=1e-6)


def test_ranges_of_the_rules_come_back_as_80_percent_intervals() -> None:
    """Each rule's 10th and 90th percentile of the draws: the ends of its range, to a third of its width."""
    for rule in RULES:
        low, high = np.quantile(DRAWS.chance(np.full(N, rule.chill_dose_days)), [0.1, 0.9])
        third = (rule.high - rule.low) / 3
        assert low == pytest.approx(rule.low, abs=third)
        assert high == pytest.approx(rule.high, abs=third)


@settings(max_examples=50, deadline=None)
@given(one=st.floats(0, 60), other=st.floats(0, 60), box=st.floats(-3, 3))
def test_more_chilling_never_lowers_the_chance_in_any_draw(one: float, other: float, box: float) -> None:
    low, high = sorted((one, other))
    assert (DRAWS.chance(np.full(N, high)) >= DRAWS.chance(np.full(N, low))).all()
    in_box = [DRAWS.chance_in_box(np.full(N, dose), np.full(N, box)) for dose in (low, high)]
    assert (in_box[1] >= in_box[0]).all()
    assert (in_box[0] >= 0).all()
    assert (in_box[1] <= 1).all()


def test_boxes_average_to_the_chance() -> None:
    """A plain average over 200,000 simulated boxes, to four standard errors."""
    draw = median_draw()
    boxes = draw.chance_in_box(np.array([5.0]), np.random.default_rng(1).standard_normal(200_000))
    bound = 4 * boxes.std() / np.sqrt(len(boxes)) + 0.002
    assert boxes.mean() == pytest.approx(float(draw.chance(np.array([5.0]))[0]), abs=bound)


def test_the_same_generator_gives_the_same_draws() -> None:
    again = draw_late_loss(RULES, N, rng=np.random.default_rng(7))
    np.testing.assert_array_equal(again.intercept, DRAWS.intercept)
    np.testing.assert_array_equal(again.slope, DRAWS.slope)
    assert (DRAWS.slope > 0).all()


def test_the_order_of_the_rules_does_not_matter() -> None:
    again = draw_late_loss(RULES[::-1], N, rng=np.random.default_rng(7))
    np.testing.assert_array_equal(again.slope, DRAWS.slope)
