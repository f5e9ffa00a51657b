"""The prior of the fit against scipy's densities, dense linear algebra, and draws of the prior made elsewhere."""

import numpy as np
import pytest
from scipy import stats

from model.exposure.table import Array
from model.fit.hierarchy import ALPHA, DELTA, FIRST_EFFECT, KAPPA, OUTER, Hierarchy, drift_precision
from model.fit.observations import Observations
from model.fit.target import Target
from model.plant.effects import LEARNED_SCALES, STUDENT_SCALE, total_spread
from model.plant.plant import KINDS, Level
from model.prior.priors import draw_prior
from model.synthetic import draw_design, draw_truth
from tests.model.ledgers import REFERENCE, ledger, theta_of

STATES: list[Level] = [("b", 3), ("a", 0), ("a", 7), ("a", 1), ("c", 5), ("b", 4), ("a", 3)]


def design(n_boxes: int = 30) -> Observations:
    return draw_design(REFERENCE, n_boxes, rng=np.random.default_rng(2)).observations


OBSERVATIONS = design()
HIERARCHY = Hierarchy(OBSERVATIONS, REFERENCE)
THETAS = [theta_of(), theta_of(drift=-0.3, seller=0.1, genus_multiplier=0.5, shipment=0.2, line=-2.0, cultivar=-1.0)]


def correlation(states: list[Level]) -> Array:
    """0.8 to the power of the quarters between two states of a seller."""
    return np.array([[0.8 ** abs(int(s[1]) - int(t[1])) if s[0] == t[0] else 0.0 for t in states] for s in states])


def test_precision_of_drift_is_the_inverse_of_its_correlation() -> None:
    precision, log_det = drift_precision(STATES)
    np.testing.assert_allclose(precision, np.linalg.inv(correlation(STATES)), atol=1e-12)
    assert log_det == pytest.approx(-np.linalg.slogdet(correlation(STATES))[1], abs=1e-12)
    assert drift_precision([])[0].shape == (0, 0)
    np.testing.assert_array_equal(drift_precision(STATES[:1])[0], [[1.0]])


def inner_density(x: Array, theta: Array) -> float:
    """Return the log density of x, delta on its log scale, by scipy; the rules' solution is the project's."""
    scales = dict(zip(LEARNED_SCALES, np.exp(theta[: len(LEARNED_SCALES)]), strict=True))
    spread = total_spread({name: np.array([scale]) for name, scale in scales.items()}, REFERENCE)
    mean, covariance, delta_mean, delta_shape = (row[0] for row in HIERARCHY.table.at(spread))
    total = stats.multivariate_normal(mean, covariance).logpdf(x[:DELTA])
    # The density of log delta is delta times that of delta.
    total += stats.gamma(delta_shape, scale=delta_mean / delta_shape).logpdf(x[DELTA]) + np.log(x[DELTA])
    fixed = {name: REFERENCE.prior_scales[name].median for name in ("group", "service", "seller_kind")}
    for kind in KINDS:
        levels = OBSERVATIONS.levels[kind]
        effects = x[HIERARCHY.slices[kind]]
        if kind == "drift":
            total += stats.multivariate_normal(cov=scales["drift"] ** 2 * correlation(list(levels))).logpdf(effects)
            continue
        for level, effect in zip(levels, effects, strict=True):
            name = str(level)
            if kind == "genus":
                sd = scales["genus_multiplier"] * 3.3 * REFERENCE.genera[name].time_ratio_sd_log
            elif kind == "container":
                sd = 3.3 * REFERENCE.containers[name].time_ratio_sd_log
            elif kind == "roots":
                sd = 3.3 * REFERENCE.roots[name].time_ratio_sd_log
            else:
                sd = fixed[kind] if kind in fixed else scales[kind]
            # Student's t of 4 degrees whose middle 80 % are those of the normal of the tables.
            student = stats.t(4, scale=sd * stats.norm.ppf(0.9) / stats.t.ppf(0.9, 4))
            total += (student if kind in {"genus", "container", "roots"} else stats.norm(0.0, sd)).logpdf(effect)
    return float(total)


def points(n: int) -> list[Array]:
    rng = np.random.default_rng(8)
    return [
        np.concatenate([[-3.0, 4.0, 0.3], np.zeros(HIERARCHY.n_inner - 3)]) + row
        for row in rng.random((n, HIERARCHY.n_inner))
    ]


def test_density_differs_from_that_of_scipy_by_one_constant() -> None:
    """Whatever x and theta: so the normalising parts that theta changes are there."""
    apart = [
        HIERARCHY.inner(theta).log_density(x) - inner_density(x, theta)
        for theta in [*THETAS, theta_of(seller=-1.0)]
        for x in points(3)
    ]
    np.testing.assert_allclose(apart, apart[0], atol=1e-8)


def test_slope_and_curvature_are_those_of_the_density_in_natural_delta() -> None:
    """The mode is sought in natural delta: log_density counts delta's own log once, as its Jacobian."""
    prior, step = HIERARCHY.inner(THETAS[1]), 1e-5
    x = points(1)[0]
    slope, curvature = prior.slope(x), prior.curvature(x)
    for i in range(HIERARCHY.n_inner):
        up, down = x.copy(), x.copy()
        up[i] += step
        down[i] -= step
        assert slope[i] == pytest.approx(
            (prior.log_density(up) - prior.log_density(down)) / (2 * step), rel=1e-5, abs=1e-5
        )
        if not prior.student[i]:
            np.testing.assert_allclose(
                curvature[i], -(prior.slope(up) - prior.slope(down)) / (2 * step), rtol=1e-5, atol=1e-5
            )


def test_in_place_of_a_student_stands_the_gaussian_with_its_slope_that_lies_below_it() -> None:
    """So Newton's steps never go down, however far a row of the tables is off."""
    prior = HIERARCHY.inner(THETAS[1])
    assert prior.student.any()
    for far in (0.1, 3.0, 20.0):
        x = points(1)[0]
        x[prior.student] = far
        precision = prior.precision(x)
        student = np.flatnonzero(prior.student)
        np.testing.assert_allclose(precision[student, student] * far, -prior.slope(x)[student], rtol=1e-9)
        assert np.count_nonzero(precision[student]) == len(student)
        for other in (0.0, 1.0, 30.0):
            there = x.copy()
            there[student[0]] = other
            gain = float(prior.log_density(there) - prior.log_density(x))
            assert gain >= -0.5 * precision[student[0], student[0]] * (other**2 - far**2) - 1e-9


def test_several_thetas_at_once_are_each_by_itself() -> None:
    rows = points(2)
    together = HIERARCHY.inner(np.stack(THETAS))
    x = np.stack(rows)
    for i, theta in enumerate(THETAS):
        alone = HIERARCHY.inner(theta)
        assert together.log_density(x)[i] == pytest.approx(float(alone.log_density(rows[i])), abs=1e-9)
        np.testing.assert_allclose(together.precision(rows[0])[i], alone.precision(rows[0]), rtol=1e-12)


def test_outer_density_is_log_normal_in_every_parameter() -> None:
    rows = [REFERENCE.prior_scales[name] for name in OUTER]
    assert OUTER == (
        "genus_multiplier",
        "cultivar",
        "seller",
        "drift",
        "shipment",
        "line",
        "q10_less_one",
        "chill_rate",
        "h0",
        "lost_whole",
    )

    def density(theta: Array) -> float:
        logs = [stats.norm(np.log(r.median), r.sd_log or 0.0).logpdf(t) for r, t in zip(rows, theta, strict=True)]
        return float(np.sum(logs))

    apart = [HIERARCHY.outer_log_density(theta) - density(theta) for theta in THETAS]
    assert apart[0] == pytest.approx(apart[1], abs=1e-10)


def test_moments_given_theta_are_those_of_the_synthetic_truth() -> None:
    """Both are written for themselves: the precision here, scaled normals and a Cholesky factor there."""
    rng, n = np.random.default_rng(11), 300
    small = draw_design(REFERENCE, 8, rng=np.random.default_rng(3), n_genera=4, n_sellers=2).observations
    hierarchy = Hierarchy(small, REFERENCE)
    standardised = np.empty((n, hierarchy.n_inner - FIRST_EFFECT))
    for row in standardised:
        truth = draw_truth(REFERENCE, small, rng=rng)
        theta = theta_of(**{name: float(np.log(scale)) for name, scale in truth.scales.items()})
        effects = np.concatenate([truth.effects[kind] for kind in KINDS])
        prior = hierarchy.inner(theta)
        student = prior.student[FIRST_EFFECT:]
        # A Student by its place among all of its kind.
        scale = STUDENT_SCALE * prior.sds[FIRST_EFFECT:][student]
        precision = prior.precision(np.zeros(hierarchy.n_inner))[FIRST_EFFECT:, FIRST_EFFECT:]
        row[:] = np.linalg.cholesky(precision).T @ effects
        row[student] = stats.norm.ppf(stats.t(4).cdf(effects[student] / scale))
    # Whitened effects are independent standard normals: 4.5 standard errors for some hundreds of numbers.
    np.testing.assert_allclose(standardised.mean(axis=0), 0.0, atol=4.5 / np.sqrt(n))
    np.testing.assert_allclose(np.cov(standardised.T), np.eye(standardised.shape[1]), atol=4.5 * np.sqrt(2.0 / n))


def test_common_parameters_given_theta_are_those_that_prior_draws_have() -> None:
    """Draws of alpha, kappa and delta that `draw_prior` makes, each standardised by the prior at its own theta."""
    n = 1500
    draws = draw_prior(REFERENCE, n, rng=np.random.default_rng(12))
    bare = Hierarchy(ledger(np.array([(1.0, 0, 0, 1)]), np.zeros(1)), REFERENCE)
    white, ranks = np.empty((n, 2)), np.empty(n)
    for i in range(n):
        prior = bare.inner(theta_of(**{name: float(np.log(draws.scales[name][i])) for name in LEARNED_SCALES}))
        gap = np.array([draws.alpha[i], draws.kappa[i]]) - prior.mean[:DELTA]
        white[i] = np.linalg.cholesky(prior.common).T @ gap
        ranks[i] = stats.gamma(prior.delta_shape, scale=1.0 / prior.delta_rate).cdf(draws.delta[i])
    np.testing.assert_allclose(white.mean(axis=0), 0.0, atol=4.0 / np.sqrt(n))
    np.testing.assert_allclose(np.cov(white.T), np.eye(2), atol=4.0 * np.sqrt(2.0 / n))
    assert stats.kstest(ranks, "uniform").pvalue > 1e-3
    assert (ALPHA, KAPPA, DELTA) == (0, 1, 2)


def test_an_unknown_genus_is_as_uncertain_as_one_of_the_trade_picked_at_random() -> None:
    """The spread of the table's ratios counts beside each row's own."""
    rows = list(REFERENCE.genera.values())
    logs, own = np.log([row.time_ratio for row in rows]), np.array([row.time_ratio_sd_log for row in rows])
    hierarchy = Hierarchy(ledger(np.array([(1.0, 0, 0, 1)]), np.zeros(1)), REFERENCE)
    genus, group = hierarchy.unknown_genus_variances
    assert genus == pytest.approx(3.3**2 * (np.var(logs) + np.mean(own**2)))
    assert group == REFERENCE.prior_scales["group"].median ** 2


@pytest.mark.parametrize(("n", "wider"), [(2, 1.22), (4, 1.58)])
def test_the_mean_of_boxes_packed_on_one_day_varies_as_half_of_it_shared_says(n: int, wider: float) -> None:
    """Half shared: variance (1 / 2 + 1 / 2n) of a box's, against 1 / n of boxes of their own: sqrt((n + 1) / 2)."""
    counts = np.tile([8.0, 1.0, 1.0, 10.0], (n, 1))
    observations = ledger(counts, np.log(np.full(n, 5.0)), named={"consignment": ["one day"] * n})
    hierarchy = Hierarchy(observations, REFERENCE)
    theta = hierarchy.outer_mean
    own = np.sum(list(Target(observations, hierarchy).box_variances(theta).values()), axis=0)
    shared = hierarchy.effect_sds(theta)[hierarchy.slices["consignment"]] ** 2
    alone = hierarchy.scales(theta)["shipment"] ** 2
    assert len(shared) == 1
    np.testing.assert_allclose(own + shared, alone)
    assert np.sqrt((shared[0] + own.mean() / n) / (alone / n)) == pytest.approx(wider, abs=0.005)
