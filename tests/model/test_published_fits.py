"""The fit with everything of its own switched off reproduces published and general-purpose fits.

Flat priors, h0 = 0 and no shipment or line effect leave a generalised linear model with a complementary log-log link,
its ordered version, or a Weibull fit of current-status data.
"""

import numpy as np
import pytest
import statsmodels.api as sm
from lifelines import WeibullFitter
from scipy import stats
from statsmodels.miscmodels.ordinal_model import OrderedModel

from model.exposure.table import Array, ExposureTable, constant_log_days
from model.fit.hierarchy import ALPHA, DELTA, FIRST_EFFECT, KAPPA, OUTER
from model.fit.inner_mode import Inner, InnerMode
from model.fit.observations import Observations
from model.fit.target import Target
from model.plant.plant import Level
from tests.model.ledgers import LOG_REFERENCE_DAYS, NOT_SPOILT, FlatPrior, ledger, only_dead, only_healthy

# Bliss 1935, Annals of Applied Biology 22:134: beetles after 5 h of carbon disulphide; the data and the fit also in
# Dobson, An Introduction to Generalized Linear Models, and in Agresti, Categorical Data Analysis.
LOG10_DOSE = np.array([1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839])
BEETLES = np.array([59.0, 60, 62, 56, 63, 59, 62, 60])
KILLED = np.array([6.0, 13, 18, 28, 52, 53, 61, 60])
INTERCEPT, INTERCEPT_SE, SLOPE, SLOPE_SE, DEVIANCE = -39.572, 3.240, 22.041, 1.799, 3.446
# What two-state rows say nothing about, delta, is gamma: shape, rate and, on the log scale, mode.
DELTA_SHAPE, DELTA_RATE, DELTA_MODE = 4.0, 2.0, 2.0


def flat_mode(observations: Observations, theta: Array = NOT_SPOILT, *, two_states: bool) -> Inner:
    """Return the maximum-likelihood fit, to the last digit that counts."""
    prior = FlatPrior(observations)
    if two_states:
        prior = FlatPrior(observations, delta_shape=DELTA_SHAPE, delta_rate=DELTA_RATE)
    start = np.zeros(prior.n_inner)
    start[DELTA] = 1.0
    return InnerMode(Target(observations, prior, box_nodes=1, line_nodes=1, rates=None)).newton(
        theta, start, tolerance=1e-12
    )


def expected_errors(observations: Observations, inner: Inner) -> tuple[Array, Array]:
    """Return a two-state fit's estimates and their standard errors from the expected information (Fisher scoring).

    The information is linear in the counts: with fitted counts in place of those seen, curvature is its expectation.
    """
    eta = inner.x[ALPHA] + inner.x[KAPPA] * (observations.exposure.at(0.0, 0.0)[0] - LOG_REFERENCE_DAYS)
    for kind, part in FlatPrior(observations).slices.items():
        eta = eta + np.append(inner.x[part], 0.0)[observations.codes[kind]]
    fitted = ledger(
        only_healthy(observations.sent * np.exp(-np.exp(eta)), observations.sent),
        observations.exposure,
        named={
            kind: [observations.levels[kind][code] if code >= 0 else None for code in codes]
            for kind, codes in observations.codes.items()
        },
    )
    again = flat_mode(fitted, two_states=True)
    np.testing.assert_allclose(again.x, inner.x, atol=1e-5)
    keep = np.delete(np.arange(len(inner.x)), DELTA)
    return inner.x[keep], np.sqrt(np.diag(np.linalg.inv(again.data_precision[np.ix_(keep, keep)])))


def beetles(*, alive_or_dead: bool) -> Observations:
    counts = only_dead(KILLED, BEETLES) if alive_or_dead else only_healthy(BEETLES - KILLED, BEETLES)
    return ledger(counts, LOG10_DOSE + LOG_REFERENCE_DAYS)


def test_beetles_as_healthy_or_not_give_the_published_fit() -> None:
    observations = beetles(alive_or_dead=False)
    inner = flat_mode(observations, two_states=True)
    estimates, errors = expected_errors(observations, inner)
    np.testing.assert_allclose(estimates, [INTERCEPT, SLOPE], atol=5.1e-4)
    np.testing.assert_allclose(errors, [INTERCEPT_SE, SLOPE_SE], atol=5.1e-4)


@pytest.mark.parametrize("alive_or_dead", [False, True])
def test_beetles_have_the_published_deviance(alive_or_dead: bool) -> None:
    observations = beetles(alive_or_dead=alive_or_dead)
    inner = flat_mode(observations, two_states=True)
    survived = BEETLES - KILLED
    seen = np.concatenate([KILLED, survived])
    share = seen / np.concatenate([BEETLES, BEETLES])
    saturated = float((seen[seen > 0] * np.log(share[seen > 0])).sum())
    assert 2.0 * (saturated - float(inner.terms.value.sum())) == pytest.approx(DEVIANCE, abs=5.1e-4)


def test_beetles_as_alive_or_dead_give_the_published_fit_of_the_hazard_of_death() -> None:
    """Then the intercept is alpha - delta: what is added to delta's spread, its prior's, is added to alpha's."""
    inner = flat_mode(beetles(alive_or_dead=True), two_states=True)
    assert inner.x[DELTA] == pytest.approx(DELTA_MODE, abs=1e-6)
    np.testing.assert_allclose([inner.x[ALPHA] - inner.x[DELTA], inner.x[KAPPA]], [INTERCEPT, SLOPE], atol=5.1e-4)
    covariance = np.linalg.inv(inner.precision)
    contrast = np.zeros(len(inner.x))
    contrast[[ALPHA, DELTA]] = 1.0, -1.0
    of_death = contrast @ covariance @ contrast
    healthy = flat_mode(beetles(alive_or_dead=False), two_states=True)
    assert of_death == pytest.approx(np.linalg.inv(healthy.precision)[ALPHA, ALPHA], rel=1e-6)


GENERA = ("Alocasia", "Anthurium", "Hoya")


def named_levels(n: int, *, rng: np.random.Generator) -> dict[str, list[Level | None]]:
    """Draw a genus, a container and a seller of each line; the first of each has no effect."""
    return {
        "genus": [None if i == 0 else GENERA[i - 1] for i in rng.integers(len(GENERA) + 1, size=n)],
        "container": ["carton" if i else None for i in rng.integers(2, size=n)],
        "seller": [None if i == 0 else f"seller {i}" for i in rng.integers(4, size=n)],
    }


def dummies(observations: Observations) -> Array:
    """Return one column a level, in the order of the effects."""
    columns = [
        (observations.codes[kind] == i).astype(float)
        for kind, levels in observations.levels.items()
        for i in range(len(levels))
    ]
    return np.column_stack(columns)


def test_covariates_give_the_fit_of_statsmodels_glm() -> None:
    """Source: statsmodels GLM, binomial family, complementary log-log link, on seeded random data."""
    rng = np.random.default_rng(41)
    n = 120
    log_days, named = rng.normal(1.8, 0.5, n), named_levels(n, rng=rng)
    sent = np.array(1 + rng.poisson(12, n), dtype=np.float64)
    effects = {level: rng.normal(0.0, 0.5) for own in named.values() for level in own if level is not None}
    eta = -1.0 + 2.5 * (log_days - LOG_REFERENCE_DAYS)
    eta += np.array([[effects[level] if level else 0.0 for level in own] for own in named.values()]).sum(axis=0)
    lost = rng.binomial(sent.astype(int), -np.expm1(-np.exp(eta))).astype(np.float64)
    observations = ledger(only_healthy(sent - lost, sent), log_days, named=named)
    inner = flat_mode(observations, two_states=True)

    design = np.column_stack([np.ones(n), log_days - LOG_REFERENCE_DAYS, dummies(observations)])
    family = sm.families.Binomial(link=sm.families.links.CLogLog())
    found = sm.GLM(np.column_stack([lost, sent - lost]), design, family=family).fit(tol=1e-12)
    estimates, errors = expected_errors(observations, inner)
    np.testing.assert_allclose(estimates, found.params, atol=1e-6)
    np.testing.assert_allclose(errors, found.bse, rtol=1e-5)
    keep = np.delete(np.arange(len(inner.x)), DELTA)
    observed = -found.model.hessian(found.params, observed=True)
    np.testing.assert_allclose(inner.precision[np.ix_(keep, keep)], observed, rtol=1e-5, atol=1e-5)


def test_three_states_give_the_fit_of_statsmodels_ordered_model() -> None:
    """Source: statsmodels OrderedModel with the left-skewed Gumbel distribution (gumbel_l), on seeded random plants.

    Dead = 0, damaged = 1, healthy = 2: its thresholds are (alpha - delta, alpha), its coefficients have the other sign.
    """
    rng = np.random.default_rng(42)
    n = 600
    log_days, named = rng.normal(1.8, 0.5, n), named_levels(n, rng=rng)
    eta = -0.8 + 2.0 * (log_days - LOG_REFERENCE_DAYS) + 0.6 * np.array([x is not None for x in named["container"]])
    tolerance = rng.exponential(size=n)
    state = np.where(tolerance > np.exp(eta), 2, np.where(tolerance > np.exp(eta - 1.2), 1, 0))
    counts = np.column_stack([state == 2, state == 1, state == 0, np.ones(n)]).astype(float)
    observations = ledger(counts, log_days, named=named)
    inner = flat_mode(observations, two_states=False)

    design = np.column_stack([log_days - LOG_REFERENCE_DAYS, dummies(observations)])
    model = OrderedModel(state, design, distr=stats.gumbel_l)
    start = model.fit(method="bfgs", disp=0)
    found = model.fit(method="newton", start_params=start.params, disp=0)
    thresholds = model.transform_threshold_params(found.params)[1:-1]
    alpha, kappa, delta = inner.x[:FIRST_EFFECT]
    np.testing.assert_allclose([alpha - delta, alpha], thresholds, atol=1e-5)
    np.testing.assert_allclose([kappa, *inner.x[FIRST_EFFECT:]], -found.params[: design.shape[1]], atol=1e-5)
    assert float(inner.terms.value.sum()) == pytest.approx(found.llf, abs=1e-7)
    errors = np.sqrt(np.diag(np.linalg.inv(inner.precision)))
    np.testing.assert_allclose(np.delete(errors, [ALPHA, DELTA]), found.bse[: design.shape[1]], rtol=1e-3)


def test_the_clock_gives_the_interval_censored_weibull_fit_of_lifelines() -> None:
    """Source: lifelines WeibullFitter, each plant seen once, alive or dead, on seeded random lives.

    At 20 °C equivalent days are days, and at 30 °C Q10 times as many: shape is kappa, (7 / scale)^shape is exp(alpha).
    """
    rng = np.random.default_rng(43)
    n, q10, shape, scale = 800, 1.7, 2.4, 9.0
    inside = np.where(rng.random(n) < 0.5, 20.0, 30.0)
    days = rng.uniform(2.0, 14.0, n)
    equivalent = days * np.where(inside == 30.0, q10, 1.0)
    dead = scale * rng.weibull(shape, n) < equivalent
    log_days = constant_log_days(inside, days, np.full(n, 10.0), np.ones(n))
    exposure = ExposureTable(log_days, np.zeros_like(log_days))
    observations = ledger(only_healthy((~dead).astype(float), np.ones(n)), exposure)
    theta = NOT_SPOILT.copy()
    theta[OUTER.index("q10_less_one")] = np.log(q10 - 1.0)
    inner = flat_mode(observations, theta, two_states=True)

    found = WeibullFitter().fit_interval_censoring(np.where(dead, 0.0, equivalent), np.where(dead, equivalent, np.inf))
    assert inner.x[KAPPA] == pytest.approx(found.rho_, rel=1e-4)
    assert inner.x[ALPHA] == pytest.approx(found.rho_ * np.log(7.0 / found.lambda_), abs=1e-4)
    assert float(inner.terms.value.sum()) == pytest.approx(found.log_likelihood_, abs=1e-5)
    errors = np.sqrt(np.diag(np.linalg.inv(inner.precision)))
    assert errors[KAPPA] == pytest.approx(np.sqrt(found.variance_matrix_.loc["rho_", "rho_"]), rel=1e-3)
