"""How much of a known total was a delay: against brute force, and against the density of the total."""

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from model.transit import HoldDelay, MissedFlights, TransitQuantiles, TransitTime, chosen, solve_transit, spent_days

# Invented times: a courier's, post held often, and air cargo that misses flights.
COURIER = solve_transit(TransitQuantiles(3, 5, 10), HoldDelay(0.04, 9, 0.4), 2).transit
POST = solve_transit(TransitQuantiles(6, 9, 16), HoldDelay(0.15, 4, 0.5), 4).transit
CARGO = solve_transit(TransitQuantiles(2, 2.5, 4), MissedFlights(0.2, 1.5, 0.2), 1.5).transit


@cache
def drawn(transit: TransitTime) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return totals and delays of three million boxes."""
    rng = np.random.default_rng(1)
    return transit.sample(*(rng.random(3_000_000) for _ in range(3)))


@pytest.mark.parametrize(
    ("transit", "total"),
    [
        (COURIER, 5.0),
        (COURIER, 14.0),
        (COURIER, 18.0),
        (POST, 9.0),
        (POST, 18.0),
        (CARGO, 3.3),
        (CARGO, 4.2),
        (CARGO, 6.4),
    ],
)
def test_it_is_what_draws_of_that_total_had(transit: TransitTime, total: float) -> None:
    """Those of three million draws of the time in transit within 0.05 days of the total."""
    totals, delays = drawn(transit)
    kept = delays[np.abs(totals - total) < 0.05]
    assert len(kept) > 400
    spent = spent_days(transit, total)
    weight = np.exp(spent.log_weight - spent.log_weight.max())
    weight /= weight.sum()
    np.testing.assert_allclose(spent.body + spent.delay, total)
    late = float(weight[spent.delay > 0].sum())
    error = 4.0 * np.sqrt(late * (1.0 - late) / len(kept)) + 0.01
    assert late == pytest.approx(float(np.mean(kept > 0)), abs=error)
    error = 4.0 * kept.std() / np.sqrt(len(kept)) + 0.03
    assert weight @ spent.delay == pytest.approx(kept.mean(), abs=error)
    assert weight @ spent.delay**2 == pytest.approx((kept**2).mean(), rel=0.1, abs=0.1)


@pytest.mark.parametrize("transit", [COURIER, POST, CARGO])
@pytest.mark.parametrize("total", [3.3, 6.1, 11.7, 35.0])
def test_its_weights_add_up_to_the_density_of_the_total(transit: TransitTime, total: float) -> None:
    """That is the slope of the distribution function."""
    spent = spent_days(transit, total)
    sf = np.exp(transit.log_sf(np.array([total - 1e-3, total + 1e-3])))
    density = float(np.exp(spent.log_weight).sum()) if len(spent.log_weight) else 0.0
    assert density == pytest.approx((sf[0] - sf[1]) / 2e-3, rel=2e-3, abs=1e-12)


def test_dates_alone_leave_room_for_the_times_of_day() -> None:
    """A flight of 1.5 days cannot be told apart as sharply; a day short of the fastest is still possible."""
    exact, rough = (spent_days(CARGO, 3.2, dates_only=dates) for dates in (False, True))
    shares = [np.exp(s.log_weight - np.logaddexp.reduce(s.log_weight)) for s in (exact, rough)]
    assert shares[0][exact.delay == 0].sum() != pytest.approx(shares[1][rough.delay == 0].sum(), abs=0.01)
    assert not len(spent_days(CARGO, 1.2).body)
    assert len(spent_days(CARGO, 1.2, dates_only=True).body) == 1
    assert not len(spent_days(CARGO, 0.5, dates_only=True).body)


def test_a_choice_is_in_proportion_to_the_weights() -> None:
    """Of 8 in proportion 1 : 2 : 5; over an even beginning each as often as its weight asks for."""
    log_weight = np.log(np.array([0.125, 0.25, 0.625]))
    assert np.bincount(chosen(log_weight, 8, 0.5)).tolist() == [1, 2, 5]
    many = [np.bincount(chosen(np.log([0.3, 0.7]), 1, at), minlength=2) for at in (np.arange(100) + 0.5) / 100]
    assert np.sum(many, axis=0).tolist() == [30, 70]
