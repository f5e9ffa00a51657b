"""Late loss learned from rechecked boxes: against brute-force integration and known truths."""

import numpy as np
import pytest
from scipy import stats

from model.predict.late_loss import BOX_SD, Rechecks, draw_late_loss, late_loss_prior, learn_late_loss
from model.reference.tables import load_reference

RULES = load_reference().late_loss_rules


def rechecks(n_boxes: int, intercept: float, slope: float, seed: int) -> Rechecks:
    rng = np.random.default_rng(seed)
    dose = rng.choice([0.0, 1.0, 6.0], n_boxes)
    hazard = np.exp(intercept + slope * np.log1p(dose) + BOX_SD * rng.standard_normal(n_boxes))
    looked_at = np.full(n_boxes, 20.0)
    return Rechecks(np.arange(n_boxes), dose, looked_at, rng.binomial(20, -np.expm1(-hazard)).astype(float))


def test_without_rechecks_the_prior_comes_back() -> None:
    empty = Rechecks(np.empty(0, dtype=np.intp), np.empty(0), np.empty(0), np.empty(0))
    learned = learn_late_loss(RULES, empty, 20_000, rng=np.random.default_rng(1))
    prior = draw_late_loss(RULES, 20_480, rng=np.random.default_rng(2))
    for name in ("intercept", "slope"):
        assert stats.ks_2samp(getattr(learned, name), getattr(prior, name)).statistic < 0.02


def test_two_boxes_against_brute_force_integration() -> None:
    # The same integral by plain Monte Carlo over prior and box effects, 400,000 draws.
    seen = Rechecks(np.array([0, 1]), np.array([0.0, 6.0]), np.array([12.0, 8.0]), np.array([3.0, 5.0]))
    prior, rng = late_loss_prior(RULES), np.random.default_rng(3)
    n = 400_000
    covariance = prior.correlation * prior.intercept_sd * prior.log_slope_sd
    both = rng.multivariate_normal(
        [prior.intercept, prior.log_slope],
        [[prior.intercept_sd**2, covariance], [covariance, prior.log_slope_sd**2]],
        n,
    )
    intercept, slope = both[:, 0], np.exp(both[:, 1])
    weight = np.ones(n)
    for dose, looked_at, lost in zip(seen.chill_dose_days, seen.looked_at, seen.lost, strict=True):
        hazard = np.exp(intercept + slope * np.log1p(dose) + BOX_SD * rng.standard_normal(n))
        weight *= stats.binom.pmf(lost, looked_at, -np.expm1(-hazard))
    learned = learn_late_loss(RULES, seen, 40_000, rng=np.random.default_rng(4))
    assert learned.intercept.mean() == pytest.approx(np.average(intercept, weights=weight), abs=0.03)
    assert learned.slope.mean() == pytest.approx(np.average(slope, weights=weight), abs=0.03)


def test_many_rechecks_find_the_truth() -> None:
    learned = learn_late_loss(RULES, rechecks(400, -2.5, 0.8, 5), 4000, rng=np.random.default_rng(6))
    assert learned.intercept.mean() == pytest.approx(-2.5, abs=0.2)
    assert learned.slope.mean() == pytest.approx(0.8, abs=0.15)
    assert (learned.slope > 0).all()
