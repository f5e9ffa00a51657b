"""Rules of thumb as a prior: each met, as wide as it is, whatever the scales; against independent solutions."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import optimize, stats

from model.plant.effects import LEARNED_SCALES, REFERENCE_KAPPA, total_spread
from model.prior.priors import (
    BLOCK,
    SPREAD_GRID,
    CommonParameters,
    ParameterDraws,
    PriorError,
    draw_prior,
    rule_shares,
    solve_prior,
    stratified_normals,
)
from model.quadrature import marginal_survival
from model.reference.row_types import PriorScale, Rule
from model.reference.tables import Reference, load_reference

Array = NDArray[np.float64]

REFERENCE = load_reference()
RULES = REFERENCE.rules
DEAD = np.array([rule.outcome == "dead" for rule in RULES])
N = 4096
DRAWS = draw_prior(REFERENCE, N, rng=np.random.default_rng(1))
Z80 = float(stats.norm.ppf(0.9))
LOG_Q10 = float(np.log1p(REFERENCE.prior_scales["q10_less_one"].median))
H0 = REFERENCE.prior_scales["h0"].median
# A dense grid in place of the quadrature under test: trapezoid, good to 1e-9 for these smooth integrands.
GRID = np.linspace(-9.0, 9.0, 1201)
GRID_WEIGHT = stats.norm.pdf(GRID) * (GRID[1] - GRID[0])


def shares_of(draws: ParameterDraws, reference: Reference = REFERENCE) -> Array:
    """Return the share that each draw gives for each rule, (draws, rules)."""
    common = CommonParameters(draws.alpha, draws.kappa, draws.delta, draws.log_q10, draws.h0)
    return rule_shares(reference.rules, common, spread=total_spread(draws.scales, reference))


def dense_shares(parameters: Array, spread: float) -> Array:
    """Return the share for each rule by the formula of the model and the dense grid."""
    alpha, kappa, delta = parameters
    shares = []
    for rule in RULES:
        eta = alpha + kappa * (np.log(rule.days / 7.0) + LOG_Q10 * (rule.inside_c - 20.0) / 10.0) + spread * GRID
        if rule.outcome == "dead":
            shares.append(1.0 - np.sum(GRID_WEIGHT * np.exp(-(H0 * np.exp(-0.7) + np.exp(eta - delta)))))
        else:
            shares.append(np.sum(GRID_WEIGHT * np.exp(-(H0 + np.exp(eta)))))
    return np.array(shares)


def fixed(**medians: float) -> Reference:
    """Return the reference with every scale fixed at its median, or at the one given."""

    def at(row: PriorScale) -> PriorScale:
        known = row.sd_log is None
        return row if known else replace(row, median=medians.get(row.name, row.median), sd_log=0.0)

    return replace(REFERENCE, prior_scales={name: at(row) for name, row in REFERENCE.prior_scales.items()})


@pytest.mark.parametrize("i", range(len(RULES)), ids=[rule.code for rule in RULES])
def test_rule_is_answered_inside_its_range_and_about_as_wide(i: int) -> None:
    rule, share = RULES[i], shares_of(DRAWS)[:, i]
    low, high = np.quantile(share, [0.1, 0.9])
    assert rule.low <= share.mean() <= rule.high
    assert 0.7 <= (high - low) / (rule.high - rule.low) <= 1.5


@pytest.mark.parametrize("name", LEARNED_SCALES)
def test_changing_a_scale_moves_no_rule(name: str) -> None:
    row = REFERENCE.prior_scales[name]
    assert row.sd_log is not None
    answers = []
    for z in (0.0, -Z80, Z80):
        reference = fixed(**{name: row.median * float(np.exp(z * row.sd_log))})
        draws = draw_prior(reference, N, rng=np.random.default_rng(2))
        assert np.ptp(draws.scales[name]) == 0.0
        answers.append(shares_of(draws, reference).mean(axis=0))
    assert np.abs(np.array(answers[1:]) - answers[0]).max() < 0.02


@pytest.mark.parametrize("name", [*LEARNED_SCALES, "chill_rate", "h0"])
def test_scales_are_log_normal_as_tabulated(name: str) -> None:
    row = REFERENCE.prior_scales[name]
    assert row.sd_log is not None
    drawn = DRAWS.scales[name] if name in LEARNED_SCALES else getattr(DRAWS, name)
    chances = [0.05, 0.1, 0.5, 0.9, 0.95]
    expected = stats.lognorm.ppf(chances, s=row.sd_log, scale=row.median)
    # Latin hypercube draws: each quantile lies within one of 512 parts.
    np.testing.assert_allclose(np.quantile(drawn, chances), expected, rtol=0.02)


def test_q10_is_one_plus_a_log_normal() -> None:
    row = REFERENCE.prior_scales["q10_less_one"]
    assert row.sd_log is not None
    q10 = np.exp(DRAWS.log_q10)
    assert q10.min() > 1.0
    expected = 1.0 + stats.lognorm.ppf([0.1, 0.5, 0.9], s=row.sd_log, scale=row.median)
    np.testing.assert_allclose(np.quantile(q10, [0.1, 0.5, 0.9]), expected, rtol=0.01)


def test_days_always_hurt_and_death_always_lags() -> None:
    assert DRAWS.kappa.min() > 0.0
    assert DRAWS.delta.min() > 0.0


def test_draws_of_kappa_below_zero_are_replaced_and_counted() -> None:
    # Rules as vague as these leave kappa nearly free.
    vague = tuple(replace(rule, low=rule.best**3, high=rule.best ** (1 / 3)) for rule in RULES)
    draws = draw_prior(replace(REFERENCE, rules=vague), N, rng=np.random.default_rng(4))
    assert draws.n_replaced > DRAWS.n_replaced
    assert draws.kappa.min() > 0.0


def test_delta_is_gamma_of_shape_at_least_four() -> None:
    table = solve_prior(RULES, log_q10=LOG_Q10, h0=H0)
    assert table.delta_shape.min() >= 4.0
    # With the scales fixed delta is one gamma distribution.
    reference = fixed()
    delta = draw_prior(reference, N, rng=np.random.default_rng(5)).delta
    scales = {name: np.array([REFERENCE.prior_scales[name].median]) for name in LEARNED_SCALES}
    _, _, mean, shape = table.at(total_spread(scales, reference))
    expected = stats.gamma(float(shape[0]), scale=float(mean[0] / shape[0]))
    chances = [0.05, 0.5, 0.95]
    np.testing.assert_allclose(np.quantile(delta, chances), expected.ppf(chances), rtol=0.01)


@pytest.mark.parametrize("at", [0, 6, 10], ids=[f"spread {SPREAD_GRID[i]:g}" for i in (0, 6, 10)])
def test_solution_is_the_weighted_least_squares_fit(at: int) -> None:
    spread = float(SPREAD_GRID[at])

    def log_hazard(share: Array) -> Array:
        return np.asarray(np.log(-np.log(np.where(DEAD, 1.0 - share, share))))

    low, best, high = (np.array([getattr(rule, name) for rule in RULES]) for name in ("low", "best", "high"))
    sd = np.abs(log_hazard(high) - log_hazard(low)) / (2.0 * Z80)

    def residuals(parameters: Array) -> Array:
        """Return what is squared: each rule weighs parameters / rules, since the rules overlap."""
        return np.asarray(
            np.sqrt(3.0 / len(RULES)) * (log_hazard(dense_shares(parameters, spread)) - log_hazard(best)) / sd
        )

    table = solve_prior(RULES, log_q10=LOG_Q10, h0=H0)
    solved = np.array([*table.mean[at], table.delta_mean[at]])

    def misfit(parameters: Array) -> float:
        return 0.5 * float(np.sum(residuals(parameters) ** 2))

    gradient = optimize.approx_fprime(solved, misfit, 1e-6)
    assert np.abs(gradient).max() < 0.05
    fit = optimize.least_squares(residuals, [-2.0, 4.0, 1.0], xtol=1e-12)
    np.testing.assert_allclose(solved, fit.x, rtol=5e-3)
    jacobian = np.asarray(fit.jac)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    np.testing.assert_allclose(table.covariance[at], covariance[:2, :2], rtol=0.05)


def changed(**fields: object) -> tuple[Rule, ...]:
    """Return the rules with fields changed in all of them."""
    return tuple(replace(rule, **fields) for rule in RULES)  # type: ignore[arg-type]


UNDETERMINED = {
    "none": (),
    "one": RULES[:1],
    "nothing about death": tuple(rule for rule in RULES if rule.outcome == "healthy"),
    "nothing but death": tuple(rule for rule in RULES if rule.outcome == "dead"),
    "all on the same day": changed(days=9.0),
    "no range": tuple(replace(rule, low=rule.best, high=rule.best) for rule in RULES),
    "a share of 0": changed(low=0.0),
    "a share of 1": changed(best=1.0),
    "days help": tuple(replace(rule, days=30.0 - rule.days) for rule in RULES),
    "days do nothing": changed(low=0.4, best=0.5, high=0.6),
    "dead before damaged": tuple(
        replace(rule, low=0.9, best=0.95, high=0.97) if rule.outcome == "dead" else rule for rule in RULES
    ),
}


@pytest.mark.parametrize("name", UNDETERMINED)
def test_rules_that_do_not_make_a_prior_are_refused_with_a_remedy(name: str) -> None:
    with pytest.raises(PriorError, match="give shares healthy at two times or more that fall with days"):
        solve_prior(UNDETERMINED[name], log_q10=LOG_Q10, h0=H0)


def test_three_rules_that_differ_are_enough() -> None:
    three = tuple(rule for rule in RULES if rule.code in {"healthy_7_days", "healthy_14_days", "dead_10_days"})
    table = solve_prior(three, log_q10=LOG_Q10, h0=H0)
    at = 5
    shares = dense_shares(np.array([*table.mean[at], table.delta_mean[at]]), float(SPREAD_GRID[at]))
    for rule, share in zip(RULES, shares, strict=True):
        if rule in three:
            assert share == pytest.approx(rule.best, abs=1e-4)


@pytest.mark.parametrize("code", ["healthy_10_days", "dead_10_days"])
def test_rule_share_is_the_average_over_the_whole_hierarchy(code: str) -> None:
    """Draw a genus of the group, cultivar, seller, season, service, kind of seller, box and line one by one."""
    rng, n = np.random.default_rng(6), 400_000
    scale = {name: row.median for name, row in REFERENCE.prior_scales.items()}
    own = np.array([genus.time_ratio_sd_log for genus in REFERENCE.genera.values() if genus.group == "aroid"])
    # Student's t of 4 degrees whose middle 80 % are those of the tabulated normal.
    student = rng.standard_t(4, n) * stats.norm.ppf(0.9) / stats.t.ppf(0.9, 4)
    multiplier, own_sds = scale["genus_multiplier"] * REFERENCE_KAPPA, rng.choice(own, n)
    effects = multiplier * own_sds * student
    for name in ("cultivar", "seller", "drift", "service", "seller_kind", "shipment", "line"):
        effects += scale[name] * rng.standard_normal(n)
    alpha, kappa, delta = -2.6, 5.5, 1.6
    [rule] = [rule for rule in RULES if rule.code == code]
    eta = alpha + effects + kappa * (np.log(10.0 / 7.0) + LOG_Q10 * 0.1)
    healthy, dead = np.exp(-(H0 + np.exp(eta))), 1.0 - np.exp(-(H0 * np.exp(-0.7) + np.exp(eta - delta)))
    spread = total_spread({name: np.array([scale[name]]) for name in LEARNED_SCALES}, REFERENCE)
    common = CommonParameters(*(np.array([x]) for x in (alpha, kappa, delta, LOG_Q10, H0)))
    share = float(rule_shares([rule], common, spread=spread)[0, 0])
    # Monte Carlo error of the spread 0.1 %, of the shares 6e-4. The spread is that with normal deviations of genera.
    normal = np.std(effects - multiplier * own_sds * student + multiplier * own_sds * rng.standard_normal(n))
    assert spread[0] == pytest.approx(normal, rel=5e-3)
    # Genera with their own spread and tails make a mixture that is not quite normal: it shifts a share by up to 0.004.
    assert share == pytest.approx((dead if rule.outcome == "dead" else healthy).mean(), abs=0.006)


@pytest.mark.parametrize(("sd", "error"), [(0.5, 1e-8), (1.0, 5e-6), (1.5, 1e-4), (2.5, 2e-3)])
def test_marginal_survival_against_a_dense_grid(sd: float, error: float) -> None:
    log_hazard = np.linspace(-8.0, 5.0, 53)
    dense = np.exp(-np.exp(log_hazard[:, None] + sd * GRID)) @ GRID_WEIGHT
    np.testing.assert_allclose(marginal_survival(log_hazard, sd), dense, atol=error)


def test_stratified_normals_put_one_draw_in_each_part_of_each_block() -> None:
    normals = stratified_normals(2 * BLOCK, 3, rng=np.random.default_rng(7))
    parts = np.floor(BLOCK * stats.norm.cdf(normals)).astype(int).reshape(3, 2, BLOCK)
    assert (np.sort(parts, axis=2) == np.arange(BLOCK)).all()
