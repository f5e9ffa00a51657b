"""Learning the time in transit: against integration by scipy, a censored fit by lifelines, and known truths."""

import numpy as np
import pytest
from lifelines import LogNormalFitter
from numpy.typing import NDArray
from scipy import special, stats

from model.transit.delay import HoldDelay, MissedFlights, NoDelay
from model.transit.transit import TransitQuantiles, TransitTime, solve_transit
from model.transit.transit_body import TransitBody
from model.transit.transit_learning import (
    LANE_PART,
    LEAST_SPREAD,
    LOST_SHARE,
    SERVICE_PART,
    SPREAD_SD_LOG,
    LearnedTransit,
    TransitRecord,
    learn_transit,
    scaled,
)

Array = NDArray[np.float64]
LONG = np.ones(1)
COURIER = solve_transit(TransitQuantiles(3, 5, 10), HoldDelay(0.04, 9.0, 0.4), 2.0).transit
CARGO = solve_transit(TransitQuantiles(2, 2.5, 4), MissedFlights(0.2, 1.5, 0.2), 1.5).transit
Z90 = 1.2815516


def record(days: Array, half_width: float = 0.02, waiting: Array | None = None) -> TransitRecord:
    """Return boxes of one lane that took these days, and others that have been waiting so long."""
    waiting = np.empty(0) if waiting is None else waiting
    n = len(days) + len(waiting)
    return TransitRecord(
        np.append(days, waiting), np.full(n, half_width), np.arange(n) < len(days), np.zeros(n, dtype=np.intp)
    )


def learn(base: TransitTime, *records: object) -> LearnedTransit:
    return learn_transit(base, record(*records), LONG)  # type: ignore[arg-type]


def log_normal(sd: float) -> TransitTime:
    """Return times with median 5 days and this sd of their log, without delays."""
    p10, p90 = 5.0 * np.exp(-Z90 * sd), 5.0 * np.exp(Z90 * sd)
    return TransitTime(TransitBody.from_quantiles(p10, 5.0, p90, 0.0), NoDelay())


@pytest.mark.parametrize(("n", "n_waiting"), [(1, 0), (6, 0), (25, 8)])
def test_one_lane_against_integration_by_scipy(n: int, n_waiting: int) -> None:
    """Log-normal times: a fine grid over the lane's level and the spread, likelihood by scipy.stats."""
    sd, rng = 0.35, np.random.default_rng(4)
    days = 5.0 * np.exp(0.3 + 0.3 * rng.standard_normal(n))
    waiting = rng.uniform(4.0, 9.0, n_waiting)
    learned = learn(log_normal(sd), days, 0.5, waiting)
    part = SERVICE_PART + LANE_PART
    level = np.linspace(-1.5, 1.5, 601)[:, None]
    log_spread = np.linspace(-2.0, 2.0, 401)
    spread = sd * np.sqrt(max(1.0 - part, LEAST_SPREAD**2)) * np.exp(log_spread)
    log_p = stats.norm.logpdf(level, scale=sd * np.sqrt(part)) + stats.norm.logpdf(log_spread, scale=SPREAD_SD_LOG)
    for t in days:
        z = [(np.log(edge / 5.0) - level) / spread for edge in (t - 0.5, t + 0.5)]
        log_p = log_p + np.log(stats.norm.cdf(z[1]) - stats.norm.cdf(z[0]) + 1e-300)
    for t in waiting:
        log_p = log_p + np.log((1 - LOST_SHARE) * stats.norm.sf((np.log(t / 5.0) - level) / spread) + LOST_SHARE)
    weight = special.softmax(log_p)
    for chance, found in zip((0.1, 0.5, 0.9), learned.lane_quantiles[0], strict=True):
        assert (weight * stats.norm.cdf((np.log(found / 5.0) - level) / spread)).sum() == pytest.approx(
            chance, abs=0.012
        )


def test_many_censored_boxes_agree_with_lifelines() -> None:
    """Maximum likelihood of a log-normal with right censoring; 300 boxes leave the prior little to say."""
    rng = np.random.default_rng(11)
    full = 5.0 * np.exp(0.45 + 0.28 * rng.standard_normal(300))
    cut = rng.uniform(3.0, 16.0, 300)
    arrived = full <= cut
    assert 0.15 < 1.0 - arrived.mean() < 0.5
    fit = LogNormalFitter().fit(np.minimum(full, cut), arrived)
    learned = learn(log_normal(0.35), full[arrived], 0.1, cut[~arrived])
    expected = np.exp(fit.mu_ + np.array([-Z90, 0.0, Z90]) * fit.sigma_)
    np.testing.assert_allclose(learned.lane_quantiles[0], expected, rtol=0.04)
    without = learn(log_normal(0.35), full[arrived], 0.1)
    assert without.lane_quantiles[0, 1] < 0.95 * expected[1]


@pytest.mark.parametrize(("base", "table"), [(COURIER, (3, 5, 10)), (CARGO, (2, 2.5, 4))])
def test_without_boxes_the_table_comes_back(base: TransitTime, table: tuple[float, ...]) -> None:
    """What is not known of lane and service is part of the table's spread, not added to it."""
    learned = learn(base, np.empty(0))
    assert learned.delay_share == pytest.approx(base.delay.share, rel=0.05)
    assert learned.quantiles == pytest.approx(table, rel=0.05)
    assert learned.lane_quantiles[0] == pytest.approx(learned.quantiles)


def test_a_slow_lane_is_learned_and_pulls_the_service_less() -> None:
    rng = np.random.default_rng(1)
    days, _ = scaled(COURIER, 1.5).sample(*rng.random((3, 80)))
    learned = learn(COURIER, days, 1.0)
    # The table's median is 5 days.
    slower, slower_here = np.log(learned.quantiles[1] / 5.0), np.log(learned.lane_quantiles[0, 1] / 5.0)
    assert 0.05 < slower < slower_here
    assert learned.lane_quantiles[0, 1] == pytest.approx(7.5, rel=0.1)


def test_few_boxes_stay_near_the_table_and_many_narrow_the_range() -> None:
    one, many = (learn(COURIER, np.full(n, 9.0), 1.0).lane_quantiles[0] for n in (1, 40))
    assert 5.0 < one[1] < 7.0
    assert many[1] == pytest.approx(9.0, rel=0.03)
    assert many[2] / many[0] < 0.6 * one[2] / one[0]


def test_a_short_lane_takes_less_of_the_days() -> None:
    """On a lane that takes half, 2.5 days are as usual: a long lane of the service stays at the table's 5."""
    boxes = TransitRecord(np.full(30, 2.5), np.full(30, 0.25), np.ones(30, dtype=bool), np.zeros(30, dtype=np.intp))
    learned = learn_transit(COURIER, boxes, np.array([0.5, 1.0]))
    assert learned.lane_quantiles[0, 1] == pytest.approx(2.5, rel=0.05)
    assert learned.lane_quantiles[1, 1] == pytest.approx(5.0, rel=0.07)


def test_two_lanes_share_the_service_and_keep_their_own() -> None:
    lane = np.repeat([0, 1], 20)
    boxes = TransitRecord(np.where(lane == 0, 8.0, 6.0), np.ones(40), np.ones(40, dtype=bool), lane)
    learned = learn_transit(COURIER, boxes, np.ones(3))
    slow, quick, new = learned.lane_quantiles[:, 1]
    assert (slow, quick) == (pytest.approx(8.0, rel=0.06), pytest.approx(6.0, rel=0.06))
    assert 5.3 < new < 7.2
    assert new == pytest.approx(learned.quantiles[1])


def test_boxes_on_their_way_lengthen_the_times_but_a_forgotten_one_hardly() -> None:
    days = np.full(10, 5.0)
    without, late, forgotten = (
        learn(COURIER, days, 1.0, waiting) for waiting in (np.empty(0), np.full(5, 9.0), np.full(1, 400.0))
    )
    assert late.lane_quantiles[0, 1] > 1.05 * without.lane_quantiles[0, 1]
    assert late.lane_quantiles[0, 2] > 1.2 * without.lane_quantiles[0, 2]
    assert forgotten.lane_quantiles[0, 1] == pytest.approx(without.lane_quantiles[0, 1], rel=0.05)


def test_many_long_delays_raise_their_share() -> None:
    assert learn(COURIER, np.append(np.full(30, 5.0), np.full(8, 16.0)), 1.0).delay_share > 0.06
    assert learn(COURIER, np.full(60, 5.0), 1.0).delay_share < 0.035
