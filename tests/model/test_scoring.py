"""Scores of counts: against scipy's distributions, scikit-learn's Brier score, and by simulation."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate, stats
from sklearn.metrics import brier_score_loss

from model.scoring.hazard_factors import HazardFactors, join_boxes, split_hazards
from model.scoring.scoring import brier_score, drawn_counts, log_scores

Array = NDArray[np.float64]
DEATH_OFFSET = 2.0
H0, DELTA = 0.015, 1.2
# Healthy, damaged, dead in a box lost whole: this test's own.
LOST = np.array([0.02, 0.08, 0.9])


def factors(
    common: list[float],
    *,
    line_sd: float = 0.0,
    own_sd: float = 0.0,
    genus_sd: float = 0.0,
    genus: tuple[int, ...] = (0,),
    intercept: float = 0.0,
    lost: float = 0.0,
) -> HazardFactors:
    n, lines = len(common), len(genus)
    return HazardFactors(
        common=np.array([common], dtype=float),
        log_h0=np.full((1, n), np.log(H0)),
        log_delta=np.full((1, n), np.log(DELTA)),
        line_sd=np.full((1, n), line_sd),
        death_offset=np.array([DEATH_OFFSET]),
        lost=np.array([lost]),
        lost_healthy=np.array([LOST[0]]),
        lost_dead=np.array([LOST[2]]),
        box=np.zeros(lines, dtype=np.int64),
        genus=np.array(genus),
        intercept=np.full(lines, intercept),
        slope=np.ones(lines),
        genus_sd=np.full(lines, genus_sd),
        own_sd=np.full(lines, own_sd),
    )


def log_score(said: HazardFactors, counts: NDArray[np.int64]) -> float:
    (score,) = log_scores(said, counts)
    return float(score)


def chances(eta: float) -> Array:
    """Healthy, damaged, dead: the two hazards written out."""
    healthy = np.exp(-(H0 + np.exp(eta)))
    dead = 1.0 - np.exp(-(H0 * np.exp(-DEATH_OFFSET) + np.exp(eta - DELTA)))
    return np.array([healthy, 1.0 - healthy - dead, dead])


def counted(*rows: tuple[int, int, int, int]) -> NDArray[np.int64]:
    return np.array(rows, dtype=np.int64)


@pytest.mark.parametrize("counts", [(15, 3, 2), (20, 0, 0), (0, 0, 20), (0, 20, 0)])
def test_without_spread_it_is_the_multinomial(counts: tuple[int, int, int]) -> None:
    # scipy.stats.multinomial
    expected = -stats.multinomial.logpmf(counts, 20, chances(-1.3))
    assert log_score(factors([-1.3]), counted((*counts, 20))) == pytest.approx(expected, abs=1e-10)


def test_two_state_rows_are_binomial() -> None:
    healthy, _, dead = chances(-0.7)
    rows = counted((13, -1, -1, 20), (-1, -1, 4, 20))
    # scipy.stats.binom, each line on the question that its record answers
    expected = -stats.binom.logpmf(13, 20, healthy) - stats.binom.logpmf(4, 20, dead)
    assert log_score(factors([-0.7], genus=(0, 1)), rows) == pytest.approx(expected, abs=1e-10)


def test_lines_are_averaged_over_draws_jointly() -> None:
    rows = counted((9, 1, 0, 10), (2, 3, 5, 10))
    # by hand: mean over the two draws of the product over the lines
    by_draw = [np.prod([stats.multinomial.pmf(row[:3], 10, chances(eta)) for row in rows]) for eta in (-2.0, 0.3)]
    found = log_score(factors([-2.0, 0.3], genus=(0, 1)), rows)
    assert found == pytest.approx(-np.log(np.mean(by_draw)), abs=1e-10)


@pytest.mark.parametrize("dead", [(1, 2), (8, 9)])
def test_a_box_may_be_lost_whole(dead: tuple[int, int]) -> None:
    rows = counted((9 - dead[0], 1, dead[0], 10), (2, -1, -1, 10), (-1, -1, dead[1], 10))
    # by hand: the share of boxes lost whole has one product over the lines, the rest the mean over the two draws

    def product(chance: Array) -> float:
        healthy, _, dead_chance = chance
        three = stats.multinomial.pmf(rows[0, :3], 10, chance)
        return float(three * stats.binom.pmf(2, 10, healthy) * stats.binom.pmf(dead[1], 10, dead_chance))

    expected = -np.log(0.05 * product(LOST) + 0.95 * np.mean([product(chances(eta)) for eta in (-2.0, 0.3)]))
    found = log_score(factors([-2.0, 0.3], genus=(0, 1, 2), lost=0.05), rows)
    assert found == pytest.approx(expected, abs=1e-10)


def test_drawn_boxes_are_lost_whole_in_their_share() -> None:
    said = factors([-1.0] * 64, genus=(0, 1), lost=0.2)
    healthy, dead = drawn_counts(said, np.array([6, 6]), 128, rng=np.random.default_rng(4))
    # scipy.stats.binom: all 12 plants share the box's fate
    expected = 0.2 * stats.binom.pmf(np.arange(13), 12, LOST[2])
    expected += 0.8 * stats.binom.pmf(np.arange(13), 12, chances(-1.0)[2])
    observed = np.bincount(dead, minlength=13) / 8192
    assert np.abs(observed - expected).max() < 4 * np.sqrt(0.25 / 8192)
    share = 0.2 * LOST[0] + 0.8 * chances(-1.0)[0]
    # By the box's own chances the mean has an sd of 0.05.
    assert healthy.mean() == pytest.approx(12 * share, abs=0.2)


def test_line_effects_are_integrated() -> None:
    def integrand(z: float) -> float:
        return float(stats.multinomial.pmf((7, 2, 1), 10, chances(-1.0 + 0.5 * z)) * stats.norm.pdf(z))

    # scipy.integrate.quad over the effect; 0.3 and 0.4 are together 0.5.
    expected = -np.log(integrate.quad(integrand, -9, 9)[0])
    spread = factors([-1.0], line_sd=0.3, own_sd=0.4)
    assert log_score(spread, counted((7, 2, 1, 10))) == pytest.approx(expected, abs=3e-3)


def test_lines_of_a_genus_share_its_effect() -> None:
    rows = counted((5, 2, 3, 10), (5, 3, 2, 10))

    def integrand(z: float) -> float:
        chance = chances(-1.0 + 0.5 * z)
        return float(np.prod([stats.multinomial.pmf(row[:3], 10, chance) for row in rows]) * stats.norm.pdf(z))

    expected = -np.log(integrate.quad(integrand, -9, 9)[0])  # one integral, not the product of two
    shared = log_score(factors([-1.0], genus_sd=0.5, genus=(0, 0)), rows)
    assert shared == pytest.approx(expected, abs=0.02)
    # Two lines that fared equally badly are likelier together than apart.
    assert shared < log_score(factors([-1.0], own_sd=0.5, genus=(0, 1)), rows) - 0.05


@pytest.mark.parametrize("eta", [-60.0, 40.0, 900.0])
@pytest.mark.parametrize("counts", [(100, 0, 0), (0, 100, 0), (0, 0, 100), (40, 30, 30)])
def test_it_is_finite_however_sure_the_forecast_was(eta: float, counts: tuple[int, int, int]) -> None:
    assert np.isfinite(log_score(factors([eta], line_sd=0.4), counted((*counts, 100))))


def test_log_score_is_proper() -> None:
    """Nobody scores better on average than the one who knows."""
    rng = np.random.default_rng(11)
    truth = factors(list(rng.normal(-1.0, 0.8, 64)), line_sd=0.4)
    others = [
        factors([-1.0] * 64, line_sd=0.4),  # too sure
        factors(list(rng.normal(-1.0, 2.4, 64)), line_sd=0.4),  # too unsure
        factors(list(truth.common[0] + 0.8), line_sd=0.4),  # too gloomy
    ]
    scores = []
    for _ in range(400):
        eta = rng.choice(truth.common[0]) + 0.4 * rng.standard_normal()
        row = counted((*rng.multinomial(20, chances(eta)), 20))
        scores.append([log_score(said, row) for said in (truth, *others)])
    differences = np.array(scores)[:, 1:] - np.array(scores)[:, :1]
    standard_errors = differences.std(axis=0) / np.sqrt(len(scores))
    assert (differences.mean(axis=0) > 3 * standard_errors).all()


def test_brier_is_that_of_both_questions() -> None:
    counts = counted((6, 3, 1, 10), (2, 1, 2, 5))
    healthy, dead = np.array([0.7, 0.5]), np.array([0.1, 0.3])
    plants = {
        "healthy": ([1] * 6 + [0] * 4 + [1] * 2 + [0] * 3, [0.7] * 10 + [0.5] * 5),
        "dead": ([1] * 1 + [0] * 9 + [1] * 2 + [0] * 3, [0.1] * 10 + [0.3] * 5),
    }
    # scikit-learn, plant by plant
    expected = np.mean([brier_score_loss(*both) for both in plants.values()])
    assert brier_score(healthy, dead, counts) == pytest.approx(expected, abs=1e-12)


def test_brier_by_hand_and_on_what_is_known() -> None:
    one = np.array([0.8]), np.array([0.1])
    assert brier_score(*one, counted((1, 0, 0, 1))) == pytest.approx((0.2**2 + 0.1**2) / 2)
    assert brier_score(*one, counted((0, 0, 1, 1))) == pytest.approx((0.8**2 + 0.9**2) / 2)
    assert brier_score(*one, counted((1, -1, -1, 1))) == pytest.approx(0.2**2)
    assert brier_score(*one, counted((-1, -1, 0, 1))) == pytest.approx(0.1**2)
    with pytest.raises(ValueError, match="no plant"):
        brier_score(*one, counted((-1, -1, -1, 1)))


def test_brier_is_lowest_at_the_truth() -> None:
    # The expected score of chances p for healthy and q for dead, of plants for which 0.6 and 0.15 are right.
    outcomes = {(1, 0, 0, 1): 0.6, (0, 1, 0, 1): 0.25, (0, 0, 1, 1): 0.15}

    def expected(p: float, q: float) -> float:
        return sum(w * brier_score(np.array([p]), np.array([q]), counted(row)) for row, w in outcomes.items())

    best = expected(0.6, 0.15)
    assert all(expected(p, q) > best for p, q in [(0.5, 0.15), (0.7, 0.15), (0.6, 0.05), (0.6, 0.25)])


def test_drawn_counts_have_the_distribution_of_the_factors() -> None:
    healthy, dead = drawn_counts(factors([-1.0] * 64), np.array([12]), 64, rng=np.random.default_rng(3))
    assert healthy.shape == dead.shape == (4096,)
    expected = stats.binom.pmf(np.arange(13), 12, chances(-1.0)[0])  # scipy.stats.binom
    observed = np.bincount(healthy, minlength=13) / 4096
    assert np.abs(observed - expected).max() < 4 * np.sqrt(0.25 / 4096)
    assert dead.mean() == pytest.approx(12 * chances(-1.0)[2], rel=0.05)


def test_hazards_are_split_as_they_were_made() -> None:
    rng = np.random.default_rng(5)
    common, shared = rng.normal(-1.0, 0.9, 20_000), rng.standard_normal(20_000)
    own = rng.standard_normal((3, 20_000))
    eta = np.stack(
        [
            0.2 + 1.1 * common + 0.7 * shared + 0.3 * own[0],
            -0.1 + 0.9 * common + 0.7 * shared + 0.3 * own[1],
            0.5 + 1.0 * common + 1.2 * own[2],
        ]
    )
    intercept, slope, genus_sd, own_sd = split_hazards(eta, common, np.array([4, 4, 7]))
    np.testing.assert_allclose(intercept, [0.2, -0.1, 0.5], atol=0.04)
    np.testing.assert_allclose(slope, [1.1, 0.9, 1.0], atol=0.03)
    np.testing.assert_allclose(genus_sd, [0.7, 0.7, 0.0], atol=0.03)
    np.testing.assert_allclose(own_sd, [0.3, 0.3, 1.2], atol=0.04)


def test_a_common_factor_without_spread_has_no_slope() -> None:
    split = split_hazards(np.array([[1.0, 2.0, 3.0]]), np.zeros(3), np.array([0]))
    np.testing.assert_allclose([part[0] for part in split], [2.0, 0.0, 0.0, np.sqrt(2.0 / 3.0)])


def test_boxes_scored_together_score_as_they_do_alone() -> None:
    said = [
        factors([-2.0, 0.3], line_sd=0.4, own_sd=0.2, genus_sd=0.5, genus=(0, 1, 0), lost=0.1),
        factors([-1.0, 1.0], line_sd=0.1, genus=(0,)),
        factors([0.0, -0.5], own_sd=0.3, genus_sd=0.2, genus=(1, 1, 0)),
    ]
    counts = [
        counted((9, 1, 0, 10), (2, 3, 5, 10), (4, -1, -1, 5)),
        counted((-1, -1, 3, 12)),
        counted((1, 1, 1, 3), (0, 0, 8, 8), (6, 0, 0, 6)),
    ]
    alone = [log_score(one, rows) for one, rows in zip(said, counts, strict=True)]
    np.testing.assert_allclose(log_scores(join_boxes(said), np.concatenate(counts)), alone, rtol=1e-12)
