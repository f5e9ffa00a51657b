"""Time left of a late box, against quadrature (scipy.integrate) and brute-force simulation by rejection."""

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate, stats

from model.transit.delay import HoldDelay, MissedFlights, NoDelay
from model.transit.outlook import OpenJourney, Uniforms, body_ahead, draw_wait
from model.transit.transit import TransitTime
from model.transit.transit_body import TransitBody

Array = NDArray[np.float64]

N = 16_384
MEDIAN, SD_LOG, FASTEST = 5.0, 0.45, 2.0
# Body: 5 days in the median, a log-normal cut off at 2 days; one in 25 boxes is held, for 9 days in the median.
BODY = TransitBody(MEDIAN, MEDIAN * SD_LOG, SD_LOG, FASTEST)
HOLD = HoldDelay(share=0.04, median_days=9.0, sd_log=0.4)
PAPERS = HoldDelay(share=1.0, median_days=2.5, sd_log=0.5)
FLIGHTS = MissedFlights(share=0.2, interval_days=1.5, again_share=0.2)
COURIER = TransitTime(BODY, HOLD)
LOG_NORMAL = stats.lognorm(SD_LOG, scale=MEDIAN)  # bend = sd of the log and scale = median x bend: no shift


def uniforms(seed: int = 1, n: int = N) -> Uniforms:
    """Return uniforms of a Latin hypercube."""
    rng = np.random.default_rng(seed)
    return Uniforms(*((rng.permutation(n) + rng.random(n)) / n for _ in range(4)))


def body_sf(days: float) -> float:
    return 1.0 if days <= FASTEST else float(LOG_NORMAL.sf(days) / LOG_NORMAL.sf(FASTEST))


def courier_sf(days: float) -> float:
    """P(body + delay > days), by Simpson's rule over the delay."""
    room = max(days - FASTEST, 0.0)
    late = 1.0
    if room > 0:
        delay = stats.lognorm(HOLD.sd_log, scale=HOLD.median_days)
        y = np.linspace(0.0, room, 2001)
        late = integrate.simpson(delay.pdf(y) * LOG_NORMAL.sf(days - y) / LOG_NORMAL.sf(FASTEST), x=y) + delay.sf(room)
    return (1.0 - HOLD.share) * body_sf(days) + HOLD.share * float(late)


def drawn_bodies(rng: np.random.Generator, n: int) -> Array:
    """Return bodies by rejection below the fastest."""
    drawn = rng.lognormal(np.log(MEDIAN), SD_LOG, 2 * n)
    return np.asarray(drawn[drawn > FASTEST][:n])


@pytest.mark.parametrize("elapsed", [0.0, 4.0, 10.0, 18.0, 30.0, 45.0])
def test_time_left_is_that_of_quadrature(elapsed: float) -> None:
    """At day 45 one box in some 300,000 is not here; the mean left and three chances by integrals of the survival."""
    left = OpenJourney(COURIER).draw(elapsed, uniforms()).total - elapsed
    so_far = courier_sf(elapsed)
    days = np.linspace(elapsed, elapsed + 120.0, 481)
    survival = np.array([courier_sf(float(day)) for day in days]) / so_far
    assert left.mean() == pytest.approx(integrate.simpson(survival, x=days), rel=0.01)
    for ahead in (1.0, 3.0, 8.0):
        assert np.mean(left > ahead) == pytest.approx(courier_sf(elapsed + ahead) / so_far, abs=0.006)
    assert left.min() >= 0.0


def test_time_left_with_papers_missing_is_that_of_rejection() -> None:
    """Body, delay and papers drawn plainly, four million times; those past day 14 are kept."""
    rng = np.random.default_rng(20270111)
    n = 4_000_000
    total = drawn_bodies(rng, n) + rng.lognormal(np.log(2.5), 0.5, n)
    held = rng.random(n) < HOLD.share
    total[held] += rng.lognormal(np.log(9.0), 0.4, int(held.sum()))
    kept = total[total > 14.0] - 14.0
    assert kept.size > 100_000
    left = OpenJourney(COURIER, wait=PAPERS).draw(14.0, uniforms()).total - 14.0
    assert left.mean() == pytest.approx(kept.mean(), rel=0.015)
    np.testing.assert_allclose(np.quantile(left, [0.1, 0.5, 0.9]), np.quantile(kept, [0.1, 0.5, 0.9]), rtol=0.04)


@pytest.mark.parametrize("elapsed", [1.0, 6.0, 20.0, 60.0])
def test_papers_are_waited_for_as_quadrature_says(elapsed: float) -> None:
    """E(wait | body + wait > elapsed), without delays: 60 days is 1 in 10^8."""
    wait = stats.lognorm(PAPERS.sd_log, scale=PAPERS.median_days)
    knots = np.geomspace(1e-3, 400.0, 60)

    def integral(power: int) -> float:
        return sum(
            integrate.quad(lambda p: p**power * wait.pdf(p) * body_sf(elapsed - p), a, b, epsabs=0.0, epsrel=1e-8)[0]
            for a, b in pairwise(knots)
        )

    drawn = draw_wait(PAPERS, TransitTime(BODY, NoDelay()), elapsed, uniforms().wait)
    assert drawn.mean() == pytest.approx(integral(1) / integral(0), rel=2e-3)


def test_a_box_seen_in_a_leg_has_its_share_ahead() -> None:
    """Rejection: 0.3 x (body - 0.5) from day 4 on, held one time in 25, not here on day 7."""
    rng = np.random.default_rng(4)
    n = 3_000_000
    total = 4.0 + 0.3 * (drawn_bodies(rng, n) - 0.5)
    held = rng.random(n) < HOLD.share
    total[held] += rng.lognormal(np.log(9.0), 0.4, int(held.sum()))
    kept = total[total > 7.0] - 7.0
    seen = OpenJourney(TransitTime(body_ahead(BODY, 0.3, 0.5), HOLD), since_days=4.0)
    left = 4.0 + seen.draw(7.0, uniforms()).total - 7.0
    assert left.mean() == pytest.approx(kept.mean(), rel=0.015)
    assert np.mean(left > 2.0) == pytest.approx(np.mean(kept > 2.0), abs=0.01)


@pytest.mark.parametrize("lasted", [0.5, 6.0, 14.0])
def test_a_hold_in_progress_lasts_on_as_rejection_says(lasted: float) -> None:
    """Customs (2.5 days) or a warehouse (9 days), alike at the beginning, held since day 3 and not yet released."""
    rng = np.random.default_rng(5)
    n = 4_000_000
    body = drawn_bodies(rng, n)
    customs = rng.random(n) < 0.5
    hold = rng.lognormal(np.where(customs, np.log(2.5), np.log(9.0)), np.where(customs, 0.5, 0.4))
    keep = (body > 3.0) & (hold > lasted)
    kept = (body + hold)[keep] - 3.0 - lasted
    held = OpenJourney(COURIER, held_since=3.0, holds=(HoldDelay(0.05, 2.5, 0.5), HOLD))
    left = held.draw(3.0 + lasted, uniforms()).total - 3.0 - lasted
    assert left.mean() == pytest.approx(kept.mean(), rel=0.02)
    np.testing.assert_allclose(np.quantile(left, [0.1, 0.5, 0.9]), np.quantile(kept, [0.1, 0.5, 0.9]), rtol=0.03)


def test_flights_are_missed_whole() -> None:
    """After 4 days of waiting for a flight every 1.5 days the third is missed, the next goes at 4.5 with chance 0.8."""
    held = OpenJourney(TransitTime(TransitBody.point(3.0), FLIGHTS), held_since=1.0, holds=(FLIGHTS,))
    drawn = held.draw(5.0, uniforms())
    assert np.mean(drawn.delay == 4.5) == pytest.approx(0.8, abs=0.001)
    assert np.mean(drawn.delay == 6.0) == pytest.approx(0.16, abs=0.001)
    assert set(drawn.body) == {3.0}


def test_the_far_tail_is_sane() -> None:
    """Day 200 of a service with p90 = 10: a log-normal's mean excess there is some 0.16 / ln(200 / 9) of its length."""
    left = OpenJourney(COURIER).draw(200.0, uniforms()).total - 200.0
    assert np.isfinite(left).all()
    assert 5.0 < left.mean() < 30.0


@pytest.mark.parametrize(
    "body",
    [
        BODY,
        TransitBody(5.0, 1.5, 0.0, 2.0),
        TransitBody(6.0, 1.2, -0.6, 2.0),
        TransitBody.from_quantiles(1.0, 9.0, 10.0, 0.9, on_log=True),
        TransitBody.point(5.0),
    ],
)
def test_the_time_ahead_is_a_share_of_the_time_after_the_wait(body: TransitBody) -> None:
    u = np.linspace(0.01, 0.99, 50)
    np.testing.assert_allclose(body_ahead(body, 0.3, 0.5).quantile(u), 0.3 * (body.quantile(u) - 0.5), rtol=1e-9)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="no box"):
        OpenJourney(TransitTime(TransitBody.point(5.0), NoDelay())).draw(6.0, uniforms())
    with pytest.raises(ValueError, match="none takes that long"):
        OpenJourney(COURIER, held_since=1.0, holds=(MissedFlights(0.2, 1.5, 0.0),)).draw(9.0, uniforms())
