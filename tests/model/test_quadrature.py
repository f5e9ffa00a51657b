"""Averages over normal effects against moments, scipy's adaptive quadrature and closed forms."""

import numpy as np
import pytest
from scipy import integrate, stats

from model.quadrature import even_nodes, latin_hypercube, marginal_survival, normal_nodes


def by_quad(log_hazard: float, sd: float) -> float:
    """E exp(-exp(log_hazard + sd z)) by scipy.integrate.quad."""
    return float(
        integrate.quad(lambda z: np.exp(-np.exp(log_hazard + sd * z)) * stats.norm.pdf(z), -12, 12, epsabs=1e-12)[0]
    )


@pytest.mark.parametrize("n", [5, 9, 21])
def test_nodes_carry_the_moments_of_the_standard_normal(n: int) -> None:
    """Moments 1, 0, 1, 0, 3, 0, 15 of the standard normal; n nodes are exact to degree 2n - 1."""
    nodes, weights = normal_nodes(n)
    moments = [float(weights @ nodes**power) for power in range(7)]
    assert moments == pytest.approx([1, 0, 1, 0, 3, 0, 15], abs=1e-11)


@pytest.mark.parametrize("sd", [0.0, 0.3, 0.8, 1.5, 2.6, 3.5])
def test_marginal_survival_is_within_1e_5_of_adaptive_quadrature(sd: float) -> None:
    """The error stated in the docstring, from a chance of loss of 1 in 1,000 to one of nearly 1."""
    log_hazard = np.linspace(-7.0, 3.0, 41)
    expected = [by_quad(value, sd) for value in log_hazard]
    np.testing.assert_allclose(marginal_survival(log_hazard, sd), expected, atol=1e-5)


def test_without_spread_it_is_the_plain_survival() -> None:
    log_hazard = np.array([-3.0, 0.0, 1.0])
    np.testing.assert_allclose(marginal_survival(log_hazard, 0.0), np.exp(-np.exp(log_hazard)), rtol=1e-13)


def test_shapes_broadcast() -> None:
    surviving = marginal_survival(np.zeros((3, 1)), np.array([0.2, 0.9]))
    assert surviving.shape == (3, 2)
    assert surviving[2, 1] == pytest.approx(by_quad(0.0, 0.9), abs=1e-4)


@pytest.mark.parametrize("sd", [0.05, 0.3, 0.7, 0.71, 1.0, 1.4, 2.0, 2.5, 3.0, 3.5, 4.0])
def test_even_nodes_average_chances_to_1e_3(sd: float) -> None:
    nodes, weights = even_nodes(sd)
    log_hazard = np.linspace(-12.0, 12.0, 97)
    averaged = np.exp(-np.exp(log_hazard[:, None] + sd * nodes)) @ weights
    np.testing.assert_allclose(averaged, [by_quad(value, sd) for value in log_hazard], atol=1e-3)


def test_wider_effects_get_more_even_nodes() -> None:
    counts = [len(even_nodes(sd)[0]) for sd in (0.2, 1.0, 2.0, 3.5)]
    assert counts == sorted(set(counts))


@pytest.mark.parametrize(("n", "n_rows"), [(1, 3), (5, 12), (512, 40)])
def test_each_row_of_a_latin_hypercube_has_every_value_once(n: int, n_rows: int) -> None:
    rows = latin_hypercube(np.arange(n, dtype=np.float32), n_rows, rng=np.random.default_rng(2))
    assert rows.shape == (n_rows, n)
    np.testing.assert_array_equal(np.sort(rows, axis=1), np.broadcast_to(np.arange(n), (n_rows, n)))


def test_rows_of_a_latin_hypercube_are_unrelated() -> None:
    """Correlations of pairs of rows, and of their squares, are those of independent orders: sd 1/sqrt(n)."""
    n = 1024
    rows = latin_hypercube(np.linspace(-1.7, 1.7, n, dtype=np.float32), 64, rng=np.random.default_rng(3))
    for values in (rows, rows**2):
        pairs = np.asarray(np.corrcoef(values))[np.triu_indices(64, 1)]
        assert pairs.std() == pytest.approx(1.0 / np.sqrt(n), rel=0.1)
        assert abs(pairs).max() < 5.0 / np.sqrt(n)
