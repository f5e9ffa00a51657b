"""Modes, outer slopes and weighted draws, against differences of the log posterior and sums over the prior."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from scipy import special

from model.exposure.table import CHILL_NODES, Q10_NODES, Array, ExposureTable
from model.fit.hierarchy import DELTA, FIT_KINDS, KAPPA, OUTER, Hierarchy
from model.fit.inference import Inference, Posterior
from model.fit.inner_mode import ConvergenceError, Inner, InnerMode
from model.fit.marginal_slope import _common_slope, _determinant_slope, marginal_slope
from model.fit.observations import Observations
from model.fit.target import Target
from model.plant.effects import LEARNED_SCALES, SCALE_OF_KIND, STUDENT_SCALE
from model.plant.plant import Level
from model.prior.priors import draw_prior
from model.synthetic import draw_counts, draw_design, draw_truth
from tests.model.ledgers import LOG_REFERENCE_DAYS, NAN, NOT_SPOILT, REFERENCE, FlatPrior, ledger, theta_of

SOME_LOGS = {"shipment": -0.2, "line": -1.2, "h0": -3.5, "seller": -0.7}
"""A theta off its prior's medians."""


def synthetic(n_boxes: int, *, seed: int = 20, inside_c: float | None = None) -> Observations:
    """Return an importer's boxes from a truth drawn from the prior; all at `inside_c` if given."""
    design = draw_design(REFERENCE, n_boxes, rng=np.random.default_rng(seed), n_genera=5, n_sellers=2)
    observations = design.observations
    if inside_c is not None:
        # Above every threshold only Q10 speeds the clock.
        rate = np.exp(ExposureTable.log_q10_points * (inside_c - 20.0) / 10.0)
        log_days = np.log(design.days[:, None, None] * rate[None, :, None]) + np.zeros((1, 1, CHILL_NODES))
        observations = replace(observations, exposure=ExposureTable(log_days, np.zeros_like(log_days)))
    truth = draw_truth(REFERENCE, observations, rng=np.random.default_rng(seed + 1))
    return draw_counts(observations, truth, rng=np.random.default_rng(seed + 2))


def weighted(posterior: Posterior, values: Array) -> tuple[float, float, float]:
    """Return weighted mean and sd of draws, and the mean's standard error."""
    w = np.exp(posterior.log_weights)
    mean = float(w @ values)
    return mean, float(np.sqrt(w @ (values - mean) ** 2)), float(np.sqrt(w**2 @ (values - mean) ** 2))


def covariance_of(inner: Inner) -> Array:
    """Return the covariance of x at its mode."""
    return np.asarray(np.linalg.inv(inner.precision), dtype=np.float64)


def two_state(observations: Observations) -> Observations:
    """Return the same boxes with a third of the lines healthy / not and a third alive / dead."""
    row = np.arange(len(observations)) % 3
    return replace(
        observations,
        healthy=np.where(row == 2, NAN, observations.healthy),
        damaged=np.where(row == 0, observations.damaged, NAN),
        dead=np.where(row == 1, NAN, observations.dead),
    )


def mode_of(observations: Observations, theta: Array) -> tuple[InnerMode, Inner]:
    """Return the posterior, its integrals taken finely, and the mode of x."""
    hierarchy = Hierarchy(observations, REFERENCE)
    modes = InnerMode(Target(observations, hierarchy, box_nodes=25, line_nodes=15, rates=None))
    start = hierarchy.inner(theta).full_mean()
    start[DELTA] = 1.5
    return modes, modes.newton(theta, start, tolerance=1e-10)


@pytest.mark.parametrize("h0", [0.0, 0.03])
@pytest.mark.parametrize("states", ["three", "mixed"])
def test_at_the_mode_the_slope_is_nil_and_the_precision_minus_the_hessian(h0: float, states: str) -> None:
    observations = synthetic(12) if states == "three" else two_state(synthetic(12))
    with np.errstate(divide="ignore"):
        theta = theta_of(h0=float(np.log(h0)))
    hierarchy = Hierarchy(observations, REFERENCE)
    modes = InnerMode(Target(observations, hierarchy, box_nodes=25, line_nodes=15, rates=None))
    prior = hierarchy.inner(theta)
    start = prior.full_mean()
    start[DELTA] = 1.5
    inner = modes.newton(theta, start, tolerance=1e-12)

    def height(x: Array) -> float:
        return modes.target.log_likelihood(x, theta) + float(prior.log_density(x))

    assert inner.log_posterior == pytest.approx(height(inner.x), abs=1e-8)
    step = 2e-3
    some = [0, 1, 2, 3, 8, hierarchy.n_inner - 1]
    units = step * np.eye(hierarchy.n_inner)[some]
    up, down = ([height(inner.x + sign * unit) for unit in units] for sign in (1.0, -1.0))
    sd = np.sqrt(np.diag(np.linalg.inv(inner.precision)))[some]
    np.testing.assert_allclose((np.array(up) - down) / (2 * step) * sd, 0.0, atol=5e-3)
    for i, first in enumerate(units):
        for j, second in enumerate(units[: i + 1]):
            across = [height(inner.x + a * first + b * second) * a * b for a in (1.0, -1.0) for b in (1.0, -1.0)]
            hessian = -sum(across) / (4 * step**2)
            if i == j and prior.student[some[i]]:
                # In place of a Student of 4 degrees stands its Gaussian, whose second derivative is another.
                square, scale = inner.x[some[i]] ** 2, 4.0 * (STUDENT_SCALE * prior.sds[some[i]]) ** 2
                hessian += 5.0 / (scale + square) - 5.0 * (scale - square) / (scale + square) ** 2
            close = pytest.approx(hessian, rel=5e-3, abs=5e-3 / (sd[i] * sd[j]))
            assert inner.precision[some[i], some[j]] == close


def test_marginal_slope_is_that_of_the_height_at_the_mode_plus_the_spread_of_x() -> None:
    """Scales of effects average over x's Gaussian, which adds trace(prior precision x covariance); scales of boxes and
    lines move the determinant of its precision, which another test looks at."""
    theta = theta_of(**SOME_LOGS)
    modes, inner = mode_of(synthetic(40), theta)
    hierarchy = modes.target.hierarchy
    slope = marginal_slope(modes.target, theta, inner)
    slope -= _determinant_slope(modes.target, theta, inner, covariance_of(inner))
    covariance, prior = covariance_of(inner), hierarchy.inner(theta).precision(inner.x)
    for kind, scale in SCALE_OF_KIND.items():
        part = hierarchy.slices[kind]
        slope[OUTER.index(scale)] -= (prior[part, part] * covariance[part, part]).sum()
    for i, name in enumerate(OUTER):
        heights = []
        for sign in (0.01, -0.01):
            moved = theta.copy()
            moved[i] += sign
            there = modes.newton(moved, inner.x, tolerance=1e-10)
            heights.append(there.log_posterior + hierarchy.outer_log_density(moved))
        # The prior of (alpha, kappa, delta) follows every scale but not h0 and the clock, and is averaged as well.
        error = 0.02 if name in {"h0", "q10_less_one", "chill_rate"} else 0.3
        assert slope[i] == pytest.approx((heights[0] - heights[1]) / 0.02, abs=error, rel=5e-3), name


@pytest.mark.parametrize(("plants", "error"), [(1, 0.1), (20, 0.04)])
def test_the_determinant_of_the_precision_moves_with_the_spread_of_boxes_and_lines(plants: int, error: float) -> None:
    """Against differences of the determinant itself, x held.

    With many plants, some in every state, a line's likelihood is a parabola, as the slope has it.
    """
    observations = synthetic(40)
    if plants > 1:
        rng, sent = np.random.default_rng(41), plants * observations.sent
        healthy, _, dead = np.round(sent * rng.dirichlet([10.0, 5.0, 5.0], len(sent)).T)
        observations = replace(observations, healthy=healthy, damaged=sent - healthy - dead, dead=dead, sent=sent)
    theta = theta_of(**SOME_LOGS)
    modes, inner = mode_of(observations, theta)
    own = modes.target.hierarchy.inner(theta).curvature(inner.x)

    def log_det(**logs: float) -> float:
        moved = theta_of(**(SOME_LOGS | logs))
        clock, variance = modes.target.clock(moved)
        design = modes.target.columns(clock)
        setting = modes.target.setting(moved, float(inner.x[KAPPA]), float(inner.x[DELTA]), variance)
        t = modes.target.integral.terms(design @ inner.x, setting)
        precision = modes.target.data_precision(design, t.eta2, t.eta_delta, t.delta2) + own
        return -0.5 * float(np.linalg.slogdet(precision)[1])

    slope = _determinant_slope(modes.target, theta, inner, covariance_of(inner))
    for name in ("shipment", "line"):
        at = SOME_LOGS[name]
        difference = (log_det(**{name: at + 0.01}) - log_det(**{name: at - 0.01})) / 0.02
        assert slope[OUTER.index(name)] == pytest.approx(difference, rel=error), name


def tiny() -> tuple[Observations, Array, Array]:
    """Return four boxes of one line without named effects, and mean and variance of their log days."""
    counts = np.array([(9.0, 2, 1, 12), (10, 1, 1, 12), (2, 4, 6, 12), (NAN, NAN, 3, 8)])
    mean, variance = np.log([4.0, 5.5, 11.0, 9.0]), np.array([0.01, 0.05, 0.02, 0.1])
    by_node = np.broadcast_to(mean[:, None, None], (4, Q10_NODES, CHILL_NODES))
    spread = np.broadcast_to(variance[:, None, None], by_node.shape)
    return ledger(counts, ExposureTable(by_node, spread)), mean, variance


class Marginal(NamedTuple):
    """A quantity's draws and weights under the fit and under the weighted prior."""

    fitted: Array
    fit_weights: Array
    drawn: Array
    weights: Array


@pytest.fixture(scope="module")
def tiny_marginals() -> dict[str, Marginal]:
    """Draws of the prior made elsewhere, each weighted by its likelihood; a line's box effect is one normal.

    Its variance is shipment's and line's and, since exposure is uncertain, kappa^2 times that of log days.
    """
    observations, mean, variance = tiny()
    posterior = Inference(InnerMode(Target(observations, Hierarchy(observations, REFERENCE), rates=None))).run(
        rng=np.random.default_rng(1), n_weighed=8192
    )
    n = 80_000
    prior = draw_prior(REFERENCE, n, rng=np.random.default_rng(2))
    nodes, weights = np.polynomial.hermite_e.hermegauss(31)
    log_likelihood = np.zeros(n)
    for i in range(4):
        sd = np.sqrt(prior.scales["shipment"] ** 2 + prior.scales["line"] ** 2 + prior.kappa**2 * variance[i])
        eta = prior.alpha + prior.kappa * (mean[i] - LOG_REFERENCE_DAYS) + sd * nodes[:, None]
        loss = prior.h0 + np.exp(eta)
        death = prior.h0 * np.exp(-0.7) + np.exp(eta - prior.delta)
        between = -prior.h0 * np.expm1(-0.7) - np.exp(eta) * np.expm1(-prior.delta)
        log_dead, log_damaged = np.log(-np.expm1(-death)), np.log(-np.expm1(-between)) - death
        h, m, d, sent = (float(getattr(observations, name)[i]) for name in ("healthy", "damaged", "dead", "sent"))
        of_node = d * log_dead - (sent - d) * death if np.isnan(h) else -h * loss + m * log_damaged + d * log_dead
        log_likelihood += np.log(weights @ np.exp(of_node) / weights.sum())
    expected = [prior.alpha, prior.kappa, prior.delta, np.log(prior.h0)]
    expected += [np.log(prior.scales[name]) for name in LEARNED_SCALES]
    found = [*posterior.x[:, :3].T, posterior.theta[:, OUTER.index("h0")], *posterior.theta.T[: len(LEARNED_SCALES)]]
    ours, theirs = np.exp(posterior.log_weights), special.softmax(log_likelihood)
    assert 1.0 / (theirs**2).sum() > 2000
    names = ("alpha", "kappa", "delta", "h0", *LEARNED_SCALES)
    return {name: Marginal(f, ours, e, theirs) for name, f, e in zip(names, found, expected, strict=True)}


def quantile(values: Array, weights: Array, share: float) -> float:
    order = np.argsort(values)
    return float(np.interp(share, np.cumsum(weights[order]), values[order]))


# Many plants spoilt at packing go with a large kappa and a low alpha: one long tail.
TAILED = ("alpha", "kappa", "h0")


@pytest.mark.parametrize("share", [0.1, 0.25, 0.5, 0.75, 0.9])
def test_a_tiny_ledger_agrees_with_the_weighted_prior(tiny_marginals: dict[str, Marginal], share: float) -> None:
    """In probability: where a quantile of the one lies in the distribution of the other."""
    for name in tiny_marginals.keys() - TAILED:
        fitted, fit_weights, drawn, weights = tiny_marginals[name]
        below = weights[drawn <= quantile(fitted, fit_weights, share)].sum()
        assert below == pytest.approx(share, abs=0.06), name


def test_a_tiny_ledger_has_the_tails_of_the_weighted_prior(tiny_marginals: dict[str, Marginal]) -> None:
    for name in TAILED:
        fitted, fit_weights, drawn, weights = tiny_marginals[name]
        ours, theirs = fit_weights @ fitted, weights @ drawn
        sd, expected = np.sqrt(fit_weights @ (fitted - ours) ** 2), np.sqrt(weights @ (drawn - theirs) ** 2)
        assert ours == pytest.approx(theirs, abs=0.15 * float(expected)), name
        assert sd == pytest.approx(expected, rel=0.2), name


def test_what_the_boxes_do_not_touch_stays_at_its_prior() -> None:
    """Every box well above every chilling threshold: the chill rate is learned from nothing."""
    observations = synthetic(30, inside_c=24.0)
    hierarchy = Hierarchy(observations, REFERENCE)
    posterior = Inference(InnerMode(Target(observations, hierarchy))).run(rng=np.random.default_rng(3), n_weighed=4096)
    i = OUTER.index("chill_rate")
    assert posterior.mode_theta[i] == pytest.approx(hierarchy.outer_mean[i], abs=1e-6)
    mean, sd, error = weighted(posterior, posterior.theta[:, i])
    assert mean == pytest.approx(hierarchy.outer_mean[i], abs=4.0 * error)
    assert sd == pytest.approx(hierarchy.outer_sd[i], rel=0.1)


def test_deaths_alone_are_learned_from_wherever_the_search_starts() -> None:
    """Alive / dead rows leave two explanations, spoilt plants or little ageing; the posterior has a mode for each.

    From the prior's median the search once ended in the lesser one. With three states known the same boxes agree.
    """
    design = draw_design(REFERENCE, 30, rng=np.random.default_rng(20))
    truth = draw_truth(REFERENCE, design.observations, rng=np.random.default_rng(21))
    full = draw_counts(design.observations, truth, rng=np.random.default_rng(22))
    unknown = np.full(len(full), NAN)
    deaths = replace(full, healthy=unknown, damaged=unknown)
    known, part = (
        Inference(InnerMode(Target(rows, Hierarchy(rows, REFERENCE)))).run(rng=np.random.default_rng(0), n_weighed=2048)
        for rows in (full, deaths)
    )
    assert min(known.effective, part.effective) > 100
    for posterior in (known, part):
        mean, sd, _ = weighted(posterior, posterior.x[:, KAPPA])
        assert abs(mean - truth.parameters["kappa"]) < 2.0 * sd
    assert weighted(part, part.x[:, KAPPA])[0] == pytest.approx(weighted(known, known.x[:, KAPPA])[0], abs=1.3)


def test_draws_with_weight_have_kappa_and_delta_above_zero_and_weights_add_to_one() -> None:
    observations = ledger(np.tile([(6.0, 3.0, 3.0, 12.0)], (8, 1)), np.log(np.linspace(3.0, 12.0, 8)))
    posterior = Inference(InnerMode(Target(observations, Hierarchy(observations, REFERENCE)))).run(
        rng=np.random.default_rng(4)
    )
    assert posterior.n_replaced > 0  # days make no difference here, so kappa comes near 0
    assert posterior.x[:, DELTA].min() > 0.0
    assert (posterior.x[np.isfinite(posterior.log_weights), KAPPA] > 0.0).all()
    assert np.exp(posterior.log_weights).sum() == pytest.approx(1.0)
    assert posterior.effective > 400
    assert posterior.x.shape[1] == Hierarchy(observations, REFERENCE).n_inner


def test_weight_two_is_the_row_twice_without_effects() -> None:
    rng = np.random.default_rng(6)
    counts = np.column_stack([rng.multinomial(10, [0.5, 0.3, 0.2], 20), np.full(20, 10)]).astype(np.float64)
    counts[::4, 1:3] = NAN
    log_days = rng.normal(1.9, 0.4, 20)
    named: dict[str, list[Level | None]] = {
        "genus": [None if i % 3 == 0 else ("Hoya", "Begonia")[i % 2] for i in range(20)]
    }
    double: dict[str, list[Level | None]] = {"genus": [name for name in named["genus"] for _ in range(2)]}
    heavy = ledger(2.0 * counts, log_days, named=named)
    twice = ledger(np.repeat(counts, 2, axis=0), np.repeat(log_days, 2), named=double)
    one, two = (mode_without_effects(rows) for rows in (heavy, twice))
    np.testing.assert_allclose(one[0], two[0], atol=1e-8)
    np.testing.assert_allclose(one[1], two[1], rtol=1e-8)


def mode_without_effects(rows: Observations) -> tuple[Array, Array]:
    prior = FlatPrior(rows)
    start = np.zeros(prior.n_inner)
    start[DELTA] = 1.0
    inner = InnerMode(Target(rows, prior, box_nodes=1, line_nodes=1, rates=None)).newton(
        NOT_SPOILT, start, tolerance=1e-12
    )
    return inner.x, inner.precision


def test_order_of_boxes_and_of_lines_does_not_matter() -> None:
    observations = synthetic(10)
    rows = np.random.default_rng(7).permutation(len(observations))
    boxes = np.random.default_rng(8).permutation(observations.n_boxes)
    renamed = boxes[observations.box[rows]]
    rows = rows[np.argsort(renamed, kind="stable")]
    shuffled = replace(
        observations,
        box=boxes[observations.box[rows]],
        **{
            name: getattr(observations, name)[rows] for name in ("healthy", "damaged", "dead", "sent", "log_time_ratio")
        },
        codes={kind: observations.codes[kind][rows] for kind in FIT_KINDS},
        exposure=observations.exposure.take(rows),
    )
    one, two = (
        Inference(InnerMode(Target(o, Hierarchy(o, REFERENCE)))).run(rng=np.random.default_rng(9), n_weighed=1024)
        for o in (observations, shuffled)
    )
    np.testing.assert_allclose(one.mode_x, two.mode_x, atol=1e-4)
    np.testing.assert_allclose(one.x, two.x, atol=1e-2)
    assert one.effective == pytest.approx(two.effective, rel=0.02)


def test_the_same_seed_gives_the_same_draws() -> None:
    observations = tiny()[0]
    one, two, other = (
        Inference(InnerMode(Target(observations, Hierarchy(observations, REFERENCE)))).run(
            rng=np.random.default_rng(s), n_weighed=256
        )
        for s in (1, 1, 2)
    )
    np.testing.assert_array_equal(one.x, two.x)
    np.testing.assert_array_equal(one.log_weights, two.log_weights)
    assert not np.array_equal(one.x, other.x)


def test_a_mode_that_no_step_reaches_is_an_error_that_lists_remedies() -> None:
    """Flat priors and plants that are all healthy: alpha runs away for ever."""
    observations = ledger(np.tile([(5.0, 0.0, 0.0, 5.0)], (4, 1)), np.log([3.0, 5.0, 7.0, 9.0]))
    prior = FlatPrior(observations, delta_shape=4.0, delta_rate=2.0)
    start = np.array([0.0, 0.0, 1.0])
    with pytest.raises(ConvergenceError, match=r"contradict each other.*wrong unit.*leave them out.*fewer boxes"):
        InnerMode(Target(observations, prior, box_nodes=1, line_nodes=1, rates=None)).newton(
            NOT_SPOILT, start, tolerance=0.0
        )


def test_an_unnamed_seller_and_an_unknown_genus_vary_from_box_to_box_and_line_to_line() -> None:
    """As if the box's and the line's own variance held theirs too: sums of independent normals."""
    counts = np.tile([(6.0, 3.0, 3.0, 12.0)], (3, 1))
    days = np.log([4.0, 6.0, 8.0])
    named = ledger(counts, days, box=np.array([0, 0, 1]))
    hierarchy = Hierarchy(named, REFERENCE)
    theta, x = theta_of(), np.array([-0.5, 3.0, 1.2])
    squares = dict(zip(OUTER, np.exp(2.0 * theta), strict=True))
    genus, group = hierarchy.unknown_genus_variances
    anonymous = replace(named, unnamed_seller=np.ones(3, dtype=bool))
    unknown = replace(named, unknown_genus=np.ones(3, dtype=bool))
    wide_box = squares["shipment"] + squares["seller"] + squares["drift"]
    wide_line = squares["line"] + squares["genus_multiplier"] * genus + squares["cultivar"] + group
    for rows, wider in ((anonymous, {"shipment": wide_box}), (unknown, {"line": wide_line})):
        logs = {name: 0.5 * float(np.log(value)) for name, value in wider.items()}
        expected = Target(named, hierarchy).log_likelihood(x, theta_of(**logs))
        assert Target(rows, hierarchy).log_likelihood(x, theta) == pytest.approx(expected, abs=1e-8)
        assert Target(named, hierarchy).log_likelihood(x, theta) != pytest.approx(expected, abs=1e-3)


def test_the_slope_of_scales_counts_unnamed_sellers_and_unknown_genera() -> None:
    rows = ledger(np.tile([(6.0, 3.0, 3.0, 12.0)], (4, 1)), np.log([4.0, 6.0, 8.0, 9.0]), box=np.array([0, 0, 1, 2]))
    some = np.array([True, True, False, False])
    rows = replace(rows, unnamed_seller=some, unknown_genus=~some)
    hierarchy = Hierarchy(rows, REFERENCE)
    modes, theta = InnerMode(Target(rows, hierarchy, box_nodes=25, line_nodes=15, rates=None)), theta_of()
    inner = modes.newton(theta, np.array([-0.5, 3.0, 1.2]), tolerance=1e-10)
    slope = marginal_slope(modes.target, theta, inner) - _slope_of_priors(modes.target, theta, inner)
    for name in ("genus_multiplier", "cultivar", "seller", "drift", "shipment", "line"):
        up, down = (theta_of(**{name: float(theta[OUTER.index(name)]) + step}) for step in (1e-4, -1e-4))
        difference = (modes.target.log_likelihood(inner.x, up) - modes.target.log_likelihood(inner.x, down)) / 2e-4
        assert slope[OUTER.index(name)] == pytest.approx(difference, abs=1e-4), name


def _slope_of_priors(target: Target, theta: Array, inner: Inner) -> Array:
    """Return the part of the slope that is not the likelihood's: there are no levels, so that of the common three."""
    hierarchy = target.hierarchy
    own = -(theta - hierarchy.outer_mean) / hierarchy.outer_sd**2
    covariance = covariance_of(inner)
    return np.asarray(
        own + _common_slope(target, theta, inner, covariance) + _determinant_slope(target, theta, inner, covariance)
    )
