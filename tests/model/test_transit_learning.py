"""Learning the time in transit: against the conjugate normal posterior, and known truths."""

import numpy as np
import pytest
from numpy.typing import NDArray

from model.delay import HoldDelay, NoDelay
from model.transit import TransitQuantiles, TransitTime, solve_transit
from model.transit_body import TransitBody
from model.transit_learning import LANE_SD_LOG, SERVICE_SD_LOG, TransitRecord, learn_transit, scaled

COURIER = solve_transit(TransitQuantiles(3, 5, 10), HoldDelay(0.04, 9.0, 0.4), 2.0).transit


def record(days: NDArray[np.float64], half_width: float = 0.02, arrived: bool = True) -> TransitRecord:
    n = len(days)
    return TransitRecord(days, np.full(n, half_width), np.full(n, arrived), np.zeros(n, dtype=np.intp))


def test_log_normal_times_give_the_conjugate_posterior() -> None:
    # Normal data with known variance: Gelman et al., Bayesian Data Analysis (3rd ed.), section 2.5. A lane's level is
    # the service's plus its own, so its prior variance is the sum of both.
    sd, rng = 0.3, np.random.default_rng(4)
    p10, p90 = 5.0 * np.exp(-1.2816 * sd), 5.0 * np.exp(1.2816 * sd)
    base = TransitTime(TransitBody.from_quantiles(p10, 5.0, p90, 0.0), NoDelay())
    logs = np.log(5.0) + 0.25 + sd * rng.standard_normal(25)
    learned = learn_transit(base, record(np.exp(logs)), 1)
    prior = SERVICE_SD_LOG**2 + LANE_SD_LOG**2
    precision = 1 / prior + len(logs) / sd**2
    mean = (logs - np.log(5.0)).sum() / sd**2 / precision
    assert learned.lane_log_factor[0] == pytest.approx(mean, abs=0.01)
    assert learned.lane_log_factor_sd[0] == pytest.approx(precision**-0.5, rel=0.08)
    assert learned.log_factor == pytest.approx(mean * SERVICE_SD_LOG**2 / prior, abs=0.02)


def test_without_boxes_the_table_comes_back() -> None:
    learned = learn_transit(COURIER, record(np.empty(0)), 0)
    assert learned.log_factor == pytest.approx(0.0, abs=1e-9)
    assert learned.delay_share == pytest.approx(0.04, rel=0.05)
    probabilities = np.array([0.1, 0.5, 0.9])
    assert learned.transit(COURIER, None).quantile(probabilities) == pytest.approx([3, 5, 10], rel=0.02)


def test_a_slow_lane_is_learned_and_pulls_the_service_less() -> None:
    rng = np.random.default_rng(1)
    days, _ = scaled(COURIER, 1.5).sample(*rng.random((3, 80)))
    learned = learn_transit(COURIER, record(days, 1.0), 1)
    assert np.exp(learned.lane_log_factor[0]) == pytest.approx(1.5, rel=0.1)
    assert 0.05 < learned.log_factor < learned.lane_log_factor[0]


def test_boxes_on_their_way_lengthen_the_times() -> None:
    days = np.full(10, 5.0)
    waiting = TransitRecord(
        np.append(days, np.full(5, 12.0)), np.ones(15), np.arange(15) < 10, np.zeros(15, dtype=np.intp)
    )
    without = learn_transit(COURIER, record(days, 1.0), 1)
    assert learn_transit(COURIER, waiting, 1).lane_log_factor[0] > without.lane_log_factor[0] + 0.05


def test_many_long_delays_raise_their_share() -> None:
    days = np.append(np.full(30, 5.0), np.full(8, 16.0))
    assert learn_transit(COURIER, record(days, 1.0), 1).delay_share > 0.06
    assert learn_transit(COURIER, record(np.full(60, 5.0), 1.0), 1).delay_share < 0.035
