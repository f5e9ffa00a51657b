"""Power scaling against closed forms of conjugate models, and its distance against numerical integration."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy import integrate, stats

from model.exposure.table import Array
from model.fit.hierarchy import DELTA, FIRST_EFFECT, InnerPrior
from model.fit.power_scaling import (
    POWERS,
    SENSITIVE,
    LogRatio,
    cumulative_distance,
    mean_shift,
    power_scaled,
    sensitivity,
)
from model.fit.sensitivities import Rests, _gamma_ratio, effect_ratio
from model.plant.effects import DEGREES, STUDENT_SCALE

N = 40_000
EVEN = np.full(N, -np.log(N))


def moments(values: Array, log_weights: Array) -> tuple[float, float]:
    """Return weighted mean and sd."""
    weights = np.exp(log_weights)
    mean = float(weights @ values)
    return mean, float(np.sqrt(weights @ (values - mean) ** 2))


def scaling(log_density: Array) -> LogRatio:
    """Return what raises a density to a power."""
    return lambda power: (power - 1.0) * log_density


def evenly(law: Callable[[Array], Array]) -> Array:
    """Return draws of a law at even steps of its distribution function, from its inverse."""
    return np.asarray(law((np.arange(N) + 0.5) / N))


def test_a_normal_scaled_has_the_moments_of_the_normal_that_it_then_is() -> None:
    """Prior N(0, 1), one observation 2 with sd 0.7: raised to a power each is a normal of so much more precision."""
    precisions, sums = np.array([1.0, 0.7**-2]), np.array([0.0, 2.0 * 0.7**-2])
    x = evenly(lambda u: stats.norm.ppf(u, sums.sum() / precisions.sum(), precisions.sum() ** -0.5))
    log_parts = -0.5 * x**2, -0.5 * ((x - 2.0) / 0.7) ** 2
    for part, log_part in enumerate(log_parts):
        scaled = power_scaled(EVEN, scaling(log_part))
        assert not scaled.rough
        for power, log_weights in zip(scaled.powers, scaled.log_weights, strict=True):
            by = np.where(np.arange(2) == part, power, 1.0)
            mean, sd = (by @ sums) / (by @ precisions), (by @ precisions) ** -0.5
            assert moments(x, log_weights) == pytest.approx((mean, sd), abs=2e-3)


def test_a_beta_scaled_has_the_moments_of_the_beta_that_it_then_is() -> None:
    """Prior beta(2, 5), 7 of 9 seen: the likelihood to a power is that of so many times the counts."""
    x = evenly(lambda u: stats.beta.ppf(u, 2 + 7, 5 + 2))
    scaled = power_scaled(EVEN, scaling(7 * np.log(x) + 2 * np.log1p(-x)))
    for power, log_weights in zip(scaled.powers, scaled.log_weights, strict=True):
        law = stats.beta(2 + 7 * power, 5 + 2 * power)
        assert moments(x, log_weights) == pytest.approx((law.mean(), law.std()), abs=1e-3)
    # More weight on 7 of 9 than on 2 of 7 moves the mean up.
    assert mean_shift(x, EVEN, scaled) > 0.0


Function = Callable[[float], float]


def integrated_distance(one: Function, other: Function, ends: tuple[float, float]) -> float:
    """Return the distance of two distribution functions by quadrature of its definition."""

    def directed(p: Function, q: Function) -> float:
        def apart(x: float) -> float:
            own, second = p(x), q(x)
            middle = 0.5 * (own + second)
            return float(sum(side * np.log2(side / middle) for side in (own, second) if side > 0))

        total = integrate.quad(apart, *ends, limit=500)[0]
        return float(np.sqrt(total / integrate.quad(lambda x: p(x) + q(x), *ends, limit=500)[0]))

    return max(directed(one, other), directed(lambda x: 1.0 - one(x), lambda x: 1.0 - other(x)))


@pytest.mark.parametrize(("mean", "sd"), [(0.3, 1.0), (-0.5, 1.3), (0.0, 0.8)])
def test_the_distance_of_two_distributions_is_that_of_numerical_integration(mean: float, sd: float) -> None:
    """Of N(0, 1) and another normal, the second by weights on draws of the first."""
    x = evenly(stats.norm.ppf)
    x = np.sort(np.append(x, [-4.5, 4.5]))
    cells = np.append(np.diff(stats.norm.cdf(x)), 0.0), np.append(np.diff(stats.norm.cdf(x, mean, sd)), 0.0)
    first, second = (np.log(np.maximum(own, 1e-300) / own.sum()) for own in cells)
    wanted = integrated_distance(
        lambda at: float(stats.norm.cdf(at)), lambda at: float(stats.norm.cdf(at, mean, sd)), (-4.5, 4.5)
    )
    assert cumulative_distance(x, first, second) == pytest.approx(wanted, rel=0.01)
    assert cumulative_distance(-x, first, second) == pytest.approx(wanted, rel=0.01)
    assert cumulative_distance(x, first, first) == 0.0


def test_what_the_scaled_part_does_not_bear_on_is_not_sensitive() -> None:
    rng = np.random.default_rng(4)
    x, other = rng.standard_normal((2, N))
    scaled = power_scaled(EVEN, scaling(-0.5 * x**2))
    assert sensitivity(other, EVEN, scaled) < 0.02
    assert sensitivity(x, EVEN, scaled) > SENSITIVE


def test_where_weights_are_too_uneven_milder_powers_tell() -> None:
    """Exponential draws of rate 1 and a log density of -4 x: the power 0.8 gives weights without a variance.

    Their tail shape is 0.8; at 0.9 it is 0.4, and what is scaled is exponential of rate 1 + 4 (0.9 - 1).
    """
    x = evenly(stats.expon.ppf)
    scaled = power_scaled(EVEN, scaling(-4.0 * x))
    assert scaled.powers == POWERS[1]
    means = [moments(x, log_weights)[0] for log_weights in scaled.log_weights]
    assert means == pytest.approx([1.0 / (1.0 + 4.0 * (power - 1.0)) for power in POWERS[1]], rel=0.02)


def effects_prior(sds: Array, *, student: bool, states: int = 0) -> InnerPrior:
    """Return the prior of effects alone, sds (draws, effects); the first `states` are a seller's quarters in a row."""
    rho = 0.8
    correlation = rho ** np.abs(np.subtract.outer(np.arange(states), np.arange(states)))
    n, p = len(sds), FIRST_EFFECT + sds.shape[1]
    return InnerPrior(
        mean=np.zeros((n, 2)),
        common=np.broadcast_to(np.eye(2), (n, 2, 2)),
        sds=np.column_stack([np.ones((n, FIRST_EFFECT)), sds]),
        student=np.arange(p) >= (FIRST_EFFECT if student else p),
        drift=slice(FIRST_EFFECT, FIRST_EFFECT + states),
        drift_precision=np.asarray(np.linalg.inv(correlation), dtype=np.float64).reshape(states, states),
        drift_log_det=0.0,
        delta_shape=np.full(n, 5.0),
        delta_rate=np.full(n, 4.0),
    )


def test_a_scaled_effect_is_narrower_by_the_root_of_the_power_and_says_nothing_of_its_scale() -> None:
    rng = np.random.default_rng(5)
    sd = np.exp(0.5 * rng.standard_normal(N))
    z = rng.standard_normal(N)
    x = np.column_stack([np.zeros((N, FIRST_EFFECT)), sd * z])
    scaled = power_scaled(EVEN, effect_ratio(effects_prior(sd[:, None], student=False), x, [FIRST_EFFECT]))
    for power, log_weights in zip(scaled.powers, scaled.log_weights, strict=True):
        assert moments(z, log_weights)[1] == pytest.approx(power**-0.5, abs=0.01)
        assert moments(np.log(sd), log_weights) == pytest.approx((0.0, 0.5), abs=0.01)


def test_a_scaled_student_has_the_spread_of_its_density_to_that_power() -> None:
    z = evenly(lambda u: STUDENT_SCALE * stats.t.ppf(u, DEGREES))
    x = np.column_stack([np.zeros((N, FIRST_EFFECT)), z])
    scaled = power_scaled(EVEN, effect_ratio(effects_prior(np.ones((N, 1)), student=True), x, [FIRST_EFFECT]))
    for power, log_weights in zip(scaled.powers, scaled.log_weights, strict=True):

        def density(v: float, power: float = power) -> float:
            return float(stats.t.pdf(v / STUDENT_SCALE, DEGREES) ** power)

        inside = [integrate.quad(density, 0.0, end)[0] for end in (1.0, np.inf)]
        assert np.exp(log_weights) @ (np.abs(z) < 1.0) == pytest.approx(inside[0] / inside[1], abs=3e-3)


def test_scaled_quarters_of_a_seller_keep_their_correlation() -> None:
    rng = np.random.default_rng(6)
    correlation = 0.8 ** np.abs(np.subtract.outer(np.arange(3), np.arange(3)))
    states = rng.multivariate_normal(np.zeros(3), correlation, N)
    x, places = np.column_stack([np.zeros((N, FIRST_EFFECT)), states]), list(range(FIRST_EFFECT, FIRST_EFFECT + 3))
    scaled = power_scaled(EVEN, effect_ratio(effects_prior(np.ones((N, 3)), student=False, states=3), x, places))
    for power, log_weights in zip(scaled.powers, scaled.log_weights, strict=True):
        covariance = np.cov(states.T, aweights=np.exp(log_weights))
        np.testing.assert_allclose(covariance, correlation / power, atol=0.03)


def test_scaled_delta_is_the_gamma_that_its_density_to_a_power_is() -> None:
    """Shape k, rate r to the power a: shape a (k - 1) + 1, rate a r."""
    delta = evenly(lambda u: stats.gamma.ppf(u, 5.0, scale=1 / 4.0))
    prior = effects_prior(np.ones((N, 1)), student=False)
    for power in POWERS[0]:
        ratio = _gamma_ratio(delta, prior, power)
        assert np.exp(ratio).mean() == pytest.approx(1.0, abs=1e-3)  # normalised
        law = stats.gamma(power * 4.0 + 1.0, scale=1.0 / (power * 4.0))
        assert np.average(delta, weights=np.exp(ratio)) == pytest.approx(law.mean(), abs=1e-3)
    assert DELTA < FIRST_EFFECT


@pytest.mark.parametrize(
    ("prior", "likelihood", "shifts", "on"),
    [
        (0.02, 0.2, (0.0, 0.1), "boxes"),
        (0.2, 0.02, (0.3, -0.1), "rules"),
        (0.2, 0.2, (0.4, -0.3), "conflict"),
        (0.2, 0.2, (0.4, 0.3), "both"),
        (0.2, 0.2, (0.05, -0.05), "both"),
        (0.04, 0.04, (0.1, -0.1), "neither"),
    ],
)
def test_the_diagnosis_is_that_of_the_paper(
    prior: float, likelihood: float, shifts: tuple[float, float], on: str
) -> None:
    """Kallioinen et al. 2024: weak likelihood or strong prior, prior-data conflict, or neither; from 0.05 on."""
    assert Rests("kappa", "", prior, likelihood, *shifts).on == on
