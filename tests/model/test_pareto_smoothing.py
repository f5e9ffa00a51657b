"""Pareto smoothing: shapes of known tails, means of known targets, and what it must leave alone."""

import numpy as np
import pytest
from scipy import special, stats

from model.exposure.table import Array
from model.fit.pareto_smoothing import fit_pareto, smooth_log_weights


@pytest.mark.parametrize("shape", [-0.3, 0.05, 0.4, 0.7, 1.2])
def test_shape_and_scale_of_a_generalised_pareto_sample(shape: float) -> None:
    n = 4000
    sample = np.sort(stats.genpareto(shape, scale=3.0).rvs(n, random_state=np.random.default_rng(3)))
    found, scale = fit_pareto(sample)
    # 4 asymptotic standard errors of maximum likelihood (Smith 1987), and the pull of ten prior tails towards 0.5.
    assert found == pytest.approx(shape, abs=4.0 * abs(1.0 + shape) / np.sqrt(n) + 10.0 / n)
    assert scale == pytest.approx(3.0, rel=4.0 * np.sqrt(2.0 * (1.0 + abs(shape)) / n))


def log_ratios(sd: float, n: int, seed: int) -> tuple[Array, Array]:
    """Return draws of a normal of this sd, and log weights that turn them into a standard normal."""
    x = sd * np.random.default_rng(seed).standard_normal(n)
    return x, stats.norm.logpdf(x) - stats.norm(scale=sd).logpdf(x)


@pytest.mark.parametrize(("sd", "error"), [(1.5, 0.03), (0.9, 0.03), (0.7, 0.08)])
def test_weights_of_a_known_ratio_give_the_moments_of_the_target(sd: float, error: float) -> None:
    x, log_w = log_ratios(sd, 20_000, 5)
    smoothed, _ = smooth_log_weights(log_w)
    assert np.exp(smoothed) @ x**2 == pytest.approx(1.0, abs=error)


@pytest.mark.parametrize("sd", [0.5, 0.65, 0.8])
def test_shape_of_a_proposal_that_is_too_narrow(sd: float) -> None:
    """The weights' tail has the shape 1 - sd^2, by a change of variables; the mean of 10 samples, tails far out."""
    shapes = [smooth_log_weights(log_ratios(sd, 20_000, seed)[1])[1] for seed in range(10)]
    assert np.mean(shapes) == pytest.approx(1.0 - sd**2, abs=0.12)


def test_bounded_weights_are_known_as_such_and_hardly_changed() -> None:
    _, log_w = log_ratios(2.0, 5000, 6)
    smoothed, shape = smooth_log_weights(log_w)
    assert shape < 0.1
    np.testing.assert_allclose(np.exp(smoothed), special.softmax(log_w), atol=2e-5)


def test_only_the_tail_is_changed_and_its_order_stays() -> None:
    _, log_w = log_ratios(0.5, 4000, 8)
    smoothed, _ = smooth_log_weights(log_w)
    tail = int(np.ceil(3.0 * np.sqrt(len(log_w))))
    order = np.argsort(log_w)
    assert (np.diff(smoothed[order]) >= -1e-12).all()
    body = order[:-tail]
    apart = smoothed[body] - log_w[body]
    np.testing.assert_allclose(apart, apart[0], atol=1e-12)
    assert smoothed.max() - apart[0] <= log_w.max() + 1e-12  # no weight above the largest there was
    assert np.exp(smoothed).sum() == pytest.approx(1.0, abs=1e-12)


def test_a_constant_does_not_matter_however_large() -> None:
    _, log_w = log_ratios(0.6, 1000, 8)
    here, there = smooth_log_weights(log_w), smooth_log_weights(log_w - 5000.0)
    np.testing.assert_allclose(here[0], there[0], atol=1e-9)
    assert here[1] == pytest.approx(there[1], abs=1e-9)


def test_draws_that_are_not_valid_keep_no_weight_and_do_not_count() -> None:
    _, log_w = log_ratios(0.6, 1000, 9)
    some = np.insert(log_w, [0, 500, 1000], -np.inf)
    smoothed, shape = smooth_log_weights(some)
    alone, alone_shape = smooth_log_weights(log_w)
    np.testing.assert_array_equal(np.isfinite(smoothed), np.isfinite(some))
    np.testing.assert_allclose(smoothed[np.isfinite(some)], alone)
    assert shape == alone_shape


@pytest.mark.parametrize("n", [1, 2, 10, 30])
def test_few_or_equal_weights_are_only_normalised(n: int) -> None:
    smoothed, _ = smooth_log_weights(np.full(n, -3.0))
    np.testing.assert_allclose(np.exp(smoothed), 1.0 / n)


def test_no_valid_draw_is_an_error() -> None:
    with pytest.raises(FloatingPointError, match="no draw"):
        smooth_log_weights(np.full(5, -np.inf))
