"""Ranges, coverage, reliability and transforms of counts against scipy's distributions and by simulation."""

import numpy as np
import pytest
from scipy import stats

from model.scoring.calibration import (
    central_range,
    clustered_share,
    coverage,
    paired_mean,
    pit_histogram,
    reliability,
    successes,
)

EDGES = np.linspace(0.0, 1.0, 11)


def jeffreys(hits: float, others: float) -> tuple[float, float]:
    """The 80 % interval of scipy.stats.beta."""
    return tuple(float(stats.beta.ppf(tail, hits + 0.5, others + 0.5)) for tail in (0.1, 0.9))  # type: ignore[return-value]


def test_central_range_is_that_of_the_distribution() -> None:
    # Ten draws of each number from 0 to 9: tails of 10 % leave 1 to 8, by hand.
    values, weights = np.arange(10), np.full(10, 10)
    assert tuple(central_range(values, weights, 0.8)) == pytest.approx((0, 8, 0.9))
    # scipy.stats.binom in fine steps: ends by its quantile function, chance by its sum.
    exact = stats.binom(20, 0.8)
    weights = np.rint(exact.pmf(np.arange(21)) * 1e12).astype(np.int64)
    for level in (0.5, 0.8, 0.95):
        low, high = exact.ppf((1 - level) / 2), exact.ppf((1 + level) / 2)
        chance = exact.cdf(high) - exact.cdf(low - 1)
        assert tuple(central_range(np.arange(21), weights, level)) == pytest.approx((low, high, chance), abs=1e-9)
        assert chance >= level


def test_a_sure_forecast_is_one_number() -> None:
    assert tuple(central_range(np.array([7]), np.array([4096]), 0.95)) == (7, 7, 1.0)


def test_successes_are_binomial_where_chances_are_equal() -> None:
    for n in (0, 1, 7, 40):
        np.testing.assert_allclose(successes(np.full(n, 0.9)), stats.binom.pmf(np.arange(n + 1), n, 0.9), atol=1e-14)


def test_successes_of_unequal_chances_by_hand() -> None:
    # Chances 0.5, 0.8, 1: none fails with 0.4, one with 0.5, two with 0.1.
    np.testing.assert_allclose(successes(np.array([0.5, 0.8, 1.0])), [0.0, 0.1, 0.5, 0.4], atol=1e-15)


def test_coverage_counts_and_its_tails_are_exact() -> None:
    found = np.array([5.0] * 33 + [2.0] * 5 + [9.0] * 2)
    said = coverage(np.full(40, 3.0), np.full(40, 8.0), np.full(40, 0.9), found)
    assert (said.n, said.held, said.below, said.above) == (40, 33, 5, 2)
    assert said.expected == pytest.approx(36.0)
    # scipy.stats.binom
    assert said.chance_fewer == pytest.approx(stats.binom.cdf(33, 40, 0.9))
    assert said.chance_more == pytest.approx(stats.binom.sf(32, 40, 0.9))


def test_the_ends_belong_to_a_range() -> None:
    said = coverage(np.array([3.0, 3.0]), np.array([8.0, 8.0]), np.array([0.8, 0.8]), np.array([3.0, 8.0]))
    assert said.held == 2
    nothing = coverage(*np.empty((4, 0)))
    assert (nothing.n, nothing.held, nothing.chance_fewer, nothing.chance_more) == (0, 0, 1.0, 1.0)


def test_ranges_of_whole_numbers_hold_what_they_say() -> None:
    """Over many boxes from the forecast itself the share held is the sum of the ranges' own chances."""
    rng = np.random.default_rng(8)
    rows = []
    for _ in range(2000):
        n = int(rng.integers(3, 30))
        exact = stats.binom(n, rng.uniform(0.3, 0.95))
        values = np.arange(n + 1)
        weights = np.rint(exact.pmf(values) * 1e9).astype(np.int64)
        rows.append((*central_range(values, weights, 0.8), exact.rvs(random_state=rng)))
    said = coverage(*np.array(rows, dtype=float).T)
    assert said.expected > 0.84 * 2000
    assert min(said.chance_fewer, said.chance_more) > 0.005


def test_independent_plants_give_jeffreys_interval() -> None:
    # One plant a box: boxes are plants. scipy.stats.beta; the sample variance between boxes has n - 1 below it.
    found, of = np.array([1] * 30 + [0] * 70), np.ones(100, dtype=np.int64)
    share = clustered_share(found, of)
    assert share.mean == pytest.approx(0.3)
    assert share[1:] == pytest.approx(jeffreys(30, 70), abs=1e-3)


def test_boxes_that_live_or_die_whole_count_as_one_plant_each() -> None:
    found, of = np.array([20, 0] * 10), np.full(20, 20)
    share = clustered_share(found, of)
    # by hand: 19 plants (20 boxes, n - 1), shrunk by (t of 399 / t of 19)^2
    n = 19 * (stats.t.ppf(0.9, 399) / stats.t.ppf(0.9, 19)) ** 2
    assert share[1:] == pytest.approx(jeffreys(n / 2, n / 2))


@pytest.mark.parametrize(("found", "of"), [([15], [20]), ([20, 20, 20], [20, 20, 20]), ([0, 0], [9, 4])])
def test_without_spread_a_box_counts_as_one_plant(found: list[int], of: list[int]) -> None:
    share = clustered_share(np.array(found), np.array(of))
    n, mean = len(of), sum(found) / sum(of)
    low, high = jeffreys(n * mean, n * (1 - mean))
    assert share.low == pytest.approx(0.0 if mean == 0 else low)
    assert share.high == pytest.approx(1.0 if mean == 1 else high)


def test_intervals_hold_the_truth_where_plants_share_a_fate() -> None:
    """An interval from plants would hold 0.7 in about 40 % of cases here."""
    rng = np.random.default_rng(21)
    held = 0
    for _ in range(400):
        chance = rng.beta(2.1, 0.9, 25)
        share = clustered_share(rng.binomial(20, chance), np.full(25, 20))
        held += share.low <= 0.7 <= share.high
    # binomial: 0.8 +- 3 standard errors of 0.02, Jeffreys' own error aside
    assert 0.74 <= held / 400 <= 0.88


def test_reliability_puts_lines_by_their_chance() -> None:
    chance, box = np.array([0.82, 0.88, 0.31, 1.0]), np.array([0, 1, 1, 2])
    found, of = np.array([8, 6, 1, 5]), np.array([10, 10, 5, 5])
    low, middle, high = reliability(chance, found, of, box, EDGES)
    assert [low.low, low.boxes, low.plants, low.forecast] == pytest.approx([0.3, 1, 5, 0.31])
    assert (middle.boxes, middle.plants) == (2, 20)
    assert [middle.forecast, middle.observed.mean] == pytest.approx([0.85, 0.7])
    assert (high.high, high.plants, high.observed.mean) == (1.0, 5, 1.0)
    assert middle.observed.low < 0.7 < middle.observed.high


def test_transforms_by_hand() -> None:
    # One count whose transform lies evenly between 0.25 and 0.75.
    np.testing.assert_allclose(pit_histogram(np.array([0.25]), np.array([0.75]), 4), [0, 0.5, 0.5, 0])
    # Counts outside of everything that was drawn lie at the ends.
    np.testing.assert_allclose(pit_histogram(np.array([0.0, 1.0]), np.array([0.0, 1.0]), 4), [0.5, 0, 0, 0.5])


@pytest.mark.parametrize(("said", "shape"), [(0.5, "flat"), (0.2, "ends"), (1.2, "middle")])
def test_transforms_tell_too_narrow_from_too_wide(said: float, shape: str) -> None:
    rng = np.random.default_rng(2)
    found = rng.poisson(20 * np.exp(0.5 * rng.standard_normal(1500)))
    drawn = rng.poisson(20 * np.exp(said * rng.standard_normal(20_000)))
    below, up_to = ((drawn[:, None] < found).mean(axis=0), (drawn[:, None] <= found).mean(axis=0))
    histogram = pit_histogram(below, up_to, 10)
    assert histogram.sum() == pytest.approx(1.0)
    ends, middle = histogram[[0, -1]].mean(), histogram[4:6].mean()
    # a part's standard error is about 0.008
    assert {"flat": abs(ends - middle) < 0.03, "ends": ends > middle + 0.05, "middle": middle > ends + 0.05}[shape]


def test_paired_mean_is_students() -> None:
    differences = np.array([0.3, -0.1, 0.4, 0.2, 0.5])
    low, high = stats.t.interval(0.8, 4, differences.mean(), stats.sem(differences))  # scipy.stats
    found = paired_mean(differences)
    assert [found.mean, found.low, found.high] == pytest.approx([0.26, low, high])
    assert tuple(paired_mean(np.array([0.3]))) == (0.3, None, None)
