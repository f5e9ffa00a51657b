"""Leave-one-out by weights against what is known in closed form, and against draws that never saw the box."""

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from model.fit.box_predictive import box_log_likelihoods, box_log_predictive
from model.fit.leave_one_out import leave_one_out
from model.fit.lines import observe
from model.predict.predict import draw_prior_posterior
from model.reference.tables import load_reference
from model.synthetic import counts_of, draw_counts, draw_design, draw_truth

Array = NDArray[np.float64]
N_DRAWS = 20_000
SEEN = np.ones(20, dtype=bool)


def normal_means(seed: int) -> tuple[Array, Array, Array]:
    """Return observations y ~ N(m, 1) of one mean with a flat prior, draws of it given all, and log p, (draws, n)."""
    rng = np.random.default_rng(seed)
    y = rng.standard_normal(len(SEEN))
    draws = y.mean() + rng.standard_normal(N_DRAWS) / np.sqrt(len(y))
    return y, draws, stats.norm.logpdf(y[None, :], draws[:, None], 1.0)


def test_weights_give_the_predictive_of_the_others() -> None:
    """In closed form: y without i predicts y_i by a normal about their mean, of variance 1 + 1 / (n - 1)."""
    y, _, log_p = normal_means(1)
    left_out = leave_one_out(log_p, SEEN)
    n = len(y)
    others = (y.sum() - y) / (n - 1)
    exact = stats.norm.logpdf(y, others, np.sqrt(1.0 + 1.0 / (n - 1)))
    # A standard error of the mean over 20,000 nearly even weights is under 0.005 here.
    np.testing.assert_allclose(left_out.log_mean(log_p), exact, atol=0.02)
    assert (left_out.pareto_k < 0.7).all()
    with_it = np.log(np.exp(log_p).mean(axis=0))
    assert (with_it > left_out.log_mean(log_p)).all()


def test_weights_are_of_any_other_record_too() -> None:
    """Draws reweighted to know nothing of y_0 predict another value of it by the same normal."""
    y, draws, log_p = normal_means(2)
    left_out = leave_one_out(log_p, SEEN).of(np.array([0]))
    other = np.atleast_1d(stats.norm.logpdf(3.0, draws, 1.0))[:, None]
    n = len(y)
    exact = stats.norm.logpdf(3.0, y[1:].mean(), np.sqrt(1.0 + 1.0 / (n - 1)))
    np.testing.assert_allclose(left_out.log_mean(other), exact, atol=0.05)


def test_boxes_that_the_draws_have_not_seen_weigh_them_alike() -> None:
    _, _, log_p = normal_means(3)
    left_out = leave_one_out(log_p, ~SEEN)
    np.testing.assert_allclose(left_out.log_mean(log_p), np.log(np.exp(log_p).mean(axis=0)))
    assert (left_out.pareto_k == 0.0).all()


def test_matrix_of_boxes_averages_to_their_predictive() -> None:
    """The score of held-out boxes is the mean over draws of what is told draw by draw."""
    reference = load_reference()
    rng = np.random.default_rng(4)
    design = draw_design(reference, 5, rng=rng)
    truth = draw_truth(reference, design.observations, rng=rng)
    counts = counts_of(draw_counts(design.observations, truth, rng=rng))
    observed = observe(design.lines, counts, reference)
    draws = draw_prior_posterior(reference, 512, seed=5)
    log_p = box_log_likelihoods(observed, draws)
    assert log_p.shape == (512, 5)
    np.testing.assert_allclose(np.log(np.exp(log_p).mean(axis=0)), box_log_predictive(observed, draws))
    assert (log_p < 0.0).all()  # chances of counts
