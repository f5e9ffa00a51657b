"""Transit times against scipy.stats, adaptive quadrature and plain simulation."""

from itertools import pairwise
from math import exp, log, pi, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate, special, stats

from model.transit.delay import Delay, HoldDelay, MissedFlights, NoDelay
from model.transit.transit import SHORTEST_DAYS, SolvedTransit, TransitQuantiles, TransitTime, solve_transit
from model.transit.transit_body import TransitBody

Array = NDArray[np.float64]

CHANCES = np.array([0.1, 0.5, 0.9])
COURIER_HOLD = HoldDelay(share=0.04, median_days=10.0, sd_log=0.5)
CARGO_FLIGHTS = MissedFlights(share=0.2, interval_days=1.5, again_share=0.2)
# One body of each shape: right-skewed, normal, left-skewed, all truncated at 2 days, and one on the log scale.
RIGHT = TransitBody(5.0, 2.3, 0.7, 2.0)
NORMAL = TransitBody(5.0, 1.5, 0.0, 2.0)
LEFT = TransitBody(6.0, 1.2, -0.6, 2.0)
LOGGED = TransitBody.from_quantiles(1.0, 9.0, 10.0, 0.9, on_log=True)
NARROW = TransitBody(5.0, 0.01, 0.3, 2.0)
BODIES = [RIGHT, NORMAL, LEFT]


def courier() -> TransitTime:
    return solve_transit(TransitQuantiles(3.0, 5.0, 10.0), COURIER_HOLD, 2.0).transit


def air_cargo() -> TransitTime:
    return solve_transit(TransitQuantiles(2.0, 2.5, 4.0), CARGO_FLIGHTS, 1.5).transit


def plain_sf(body: TransitBody, days: float) -> float:
    """Survival of a body before truncation: normal, or log-normal from an edge; the normal by scipy.special."""
    if body.bend == 0:
        return float(special.ndtr((body.location - days) / body.scale))
    edge, width = body.location - body.scale / body.bend, body.scale / abs(body.bend)
    # How far from the edge, on the side on which the body lies; past the edge all or nothing is above.
    from_edge = days - edge if body.bend > 0 else edge - days
    if from_edge <= 0.0:
        return 1.0 if body.bend > 0 else 0.0
    return float(special.ndtr(-log(from_edge / width) / body.bend))


def cut_sf(body: TransitBody, days: float) -> float:
    """Survival of a body truncated at its minimum, by scipy.stats."""
    return 1.0 if days <= body.minimum_days else plain_sf(body, days) / plain_sf(body, body.minimum_days)


def conditional_sf(transit: TransitTime, days: Array, elapsed_days: float) -> Array:
    """P(T > days) given T > elapsed_days, of the time's own survival function, by the rule of conditional chances."""
    given: Array = np.exp(np.minimum(transit.log_sf(days) - transit.log_sf(elapsed_days), 0.0))
    return given


def hold_density(hold: HoldDelay, days: float) -> float:
    """Density of a hold's log-normal delay, written out: scipy.stats takes a hundred times as long for one number."""
    if days <= 0.0:
        return 0.0
    z = log(days / hold.median_days) / hold.sd_log
    return exp(-0.5 * z * z) / (days * hold.sd_log * sqrt(2.0 * pi))


def test_what_is_written_out_here_is_what_scipy_says() -> None:
    for days in (-1.0, 0.5, 3.0, 12.0):
        expected = stats.lognorm.pdf(days, COURIER_HOLD.sd_log, scale=COURIER_HOLD.median_days)
        assert hold_density(COURIER_HOLD, days) == pytest.approx(expected, rel=1e-12)
        assert plain_sf(NORMAL, days) == pytest.approx(stats.norm.sf(days, 5.0, 1.5), rel=1e-12)
        # A bend of b is a log-normal of sd |b| from an edge at location - scale / b.
        right = stats.lognorm.sf(days, 0.7, loc=5.0 - 2.3 / 0.7, scale=2.3 / 0.7)
        left = stats.lognorm.cdf(6.0 + 1.2 / 0.6 - days, 0.6, scale=1.2 / 0.6)
        assert (plain_sf(RIGHT, days), plain_sf(LEFT, days)) == pytest.approx((right, left), rel=1e-12)


def hold_sf_by_quadrature(body: TransitBody, hold: HoldDelay, days: float) -> float:
    """P(body + delay > days) by scipy.integrate, over the log-normal density of the delay."""
    room = days - body.minimum_days
    knots = np.concatenate([[0.0], np.geomspace(1e-2, 1.0, 40) * room])
    pieces = [
        integrate.quad(lambda y: hold_density(hold, y) * cut_sf(body, days - y), low, high, epsabs=0.0, epsrel=1e-8)[0]
        for low, high in pairwise(knots)
    ]
    return float(sum(pieces) + stats.lognorm.sf(room, hold.sd_log, scale=hold.median_days))


def total_sf(transit: TransitTime, days: float) -> float:
    """P(T > days) for a hold, by scipy.stats and scipy.integrate."""
    assert isinstance(transit.delay, HoldDelay)
    share = transit.delay.share
    late = hold_sf_by_quadrature(transit.body, transit.delay, days)
    return (1.0 - share) * cut_sf(transit.body, days) + share * late


def simulate(transit: TransitTime, n: int, rng: np.random.Generator) -> Array:
    """Draw total times the plain way: reject bodies under the minimum, add a delay to a share of them."""
    body, delay = transit.body, transit.delay
    z = rng.standard_normal(2 * n)
    days = body.location + body.scale * (z if body.bend == 0 else (np.exp(body.bend * z) - 1.0) / body.bend)
    days = days[days > body.minimum_days][:n]
    delayed = rng.random(n) < delay.share
    if isinstance(delay, HoldDelay):
        extra: Array = rng.lognormal(np.log(delay.median_days), delay.sd_log, n)
    else:
        assert isinstance(delay, MissedFlights)
        extra = delay.interval_days * rng.geometric(1.0 - delay.again_share, n).astype(np.float64)
    return np.where(delayed, days + extra, days)


def strata(n: int, rng: np.random.Generator) -> Array:
    """Return n stratified uniforms in random order."""
    return (rng.permutation(n) + rng.random(n)) / n


def largest_gap(draws: Array, cdf: Array) -> float:
    """Kolmogorov-Smirnov distance of draws from a distribution function, `cdf` taken at the sorted draws."""
    n = draws.size
    return float(np.max(np.maximum(cdf - np.arange(n) / n, np.arange(1, n + 1) / n - cdf)))


@pytest.mark.parametrize("body", BODIES)
def test_body_is_the_truncated_shifted_log_normal_of_scipy(body: TransitBody) -> None:
    days = np.array([1.0, 2.0, 2.2, 3.0, 5.0, 7.5, 7.99, 12.0, 20.0])
    expected = [cut_sf(body, float(t)) for t in days]
    np.testing.assert_allclose(np.exp(body.log_sf(days)), expected, rtol=1e-9, atol=1e-300)
    u = np.array([1e-12, 0.01, 0.3, 0.9, 1.0 - 1e-9])
    np.testing.assert_allclose(-np.expm1(body.log_sf(body.quantile(u))), u, rtol=1e-6, atol=1e-15)
    mean = body.minimum_days + integrate.quad(lambda t: cut_sf(body, t), body.minimum_days, 400.0, limit=400)[0]
    assert body.mean_days() == pytest.approx(mean, rel=1e-7)


def test_body_tends_to_the_normal_as_its_bend_vanishes() -> None:
    u = np.linspace(0.001, 0.999, 41)
    normal = stats.truncnorm(-2.0, np.inf, loc=5.0, scale=1.5)
    for bend in (-1e-9, 0.0, 1e-12, 1e-7):
        np.testing.assert_allclose(TransitBody(5.0, 1.5, bend, 2.0).quantile(u), normal.ppf(u), rtol=1e-6)
    assert TransitBody(5.0, 1.5, 0.0, 2.0).mean_days() == pytest.approx(normal.mean(), rel=1e-9)
    for bend in (-2e-5, -5e-6, -1e-9, 1e-12, 1e-7, 5e-6, 2e-5):
        floor = np.log1p(-2.0 * bend) / bend
        area = integrate.quad(lambda z, b=bend: stats.norm.pdf(z) * np.expm1(b * z) / b, floor, 12.0, epsrel=1e-12)[0]
        mean = 5.0 + 1.5 * area / stats.norm.sf(floor)
        assert TransitBody(5.0, 1.5, bend, 2.0).mean_days() == pytest.approx(mean, rel=2e-9)


def test_body_tail_agrees_with_scipy_where_the_chance_underflows() -> None:
    days = np.array([20.0, 40.0, 80.0])
    expected = stats.norm.logsf(days, 5.0, 1.5) - stats.norm.logsf(2.0, 5.0, 1.5)
    assert expected[-1] < -1000.0
    np.testing.assert_allclose(NORMAL.log_sf(days), expected, rtol=1e-10)


def test_body_on_the_log_scale_keeps_its_quantiles_minimum_and_mean() -> None:
    np.testing.assert_allclose(LOGGED.quantile(CHANCES), [1.0, 9.0, 10.0], rtol=1e-9)
    assert LOGGED.quantile(0.0) >= 0.9
    knots = [0.9, 0.901, 0.95, 1.0, 1.5, 3.0, 7.0, 9.0, 9.9, float(LOGGED.longest_days)]
    area = sum(integrate.quad(lambda t: float(np.exp(LOGGED.log_sf(t))), low, high)[0] for low, high in pairwise(knots))
    assert LOGGED.mean_days() == pytest.approx(0.9 + area, rel=1e-6)


def test_delays_given_that_there_is_one() -> None:
    u = np.array([0.0, 0.05, 0.5, 0.79, 0.81, 0.999])
    hold = stats.lognorm(0.5, scale=10.0)
    np.testing.assert_allclose(COURIER_HOLD.draw(u), hold.ppf(u), rtol=1e-9)
    np.testing.assert_allclose(COURIER_HOLD.sf([0.0, 3.0, 10.0, 60.0]), hold.sf([0.0, 3.0, 10.0, 60.0]), rtol=1e-9)
    assert COURIER_HOLD.mean_days() == pytest.approx(hold.mean())
    flights = stats.geom(0.8)
    np.testing.assert_allclose(CARGO_FLIGHTS.draw(u), 1.5 * np.maximum(flights.ppf(u), 1.0), rtol=1e-12)
    np.testing.assert_allclose(CARGO_FLIGHTS.sf([0.0, 1.4, 1.6, 3.1]), flights.sf([0, 0, 1, 2]), rtol=1e-12)
    assert CARGO_FLIGHTS.mean_days() == pytest.approx(1.5 * flights.mean())
    np.testing.assert_array_equal(MissedFlights(0.2, 1.5, 0.0).draw(u), 1.5)
    assert COURIER_HOLD.with_share(0.5) == HoldDelay(0.5, 10.0, 0.5)
    assert CARGO_FLIGHTS.with_share(0.5) == MissedFlights(0.5, 1.5, 0.2)


# A delay much shorter, alike and much longer than the body's own spread.
@pytest.mark.parametrize("hold", [HoldDelay(0.3, 0.02, 0.4), HoldDelay(0.04, 10.0, 0.5), HoldDelay(0.1, 4.0, 1.4)])
@pytest.mark.parametrize("body", [RIGHT, LEFT, NARROW])
def test_total_with_a_hold_agrees_with_adaptive_quadrature(body: TransitBody, hold: HoldDelay) -> None:
    transit = TransitTime(body, hold)
    days = np.array([2.5, 5.0, 5.02, 8.05, 15.0, 40.0])
    expected = np.array([total_sf(transit, float(t)) for t in days])
    np.testing.assert_allclose(transit.cdf(days), 1.0 - expected, rtol=0, atol=1e-7)
    seen = expected > 1e-14
    np.testing.assert_allclose(np.exp(transit.log_sf(days))[seen], expected[seen], rtol=1e-5)


@pytest.mark.parametrize("body", BODIES)
@pytest.mark.parametrize("delay", [COURIER_HOLD, HoldDelay(0.3, 1.5, 0.8), CARGO_FLIGHTS, MissedFlights(0.4, 1.0, 0.7)])
def test_total_agrees_with_plain_simulation(body: TransitBody, delay: Delay) -> None:
    transit = TransitTime(body, delay)
    draws = simulate(transit, 200_000, np.random.default_rng(7))
    days = np.array([2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 25.0])
    expected = transit.cdf(days)
    share = np.mean(draws[:, None] <= days, axis=0)
    # 4.5 binomial standard errors.
    assert np.all(np.abs(share - expected) <= 4.5 * np.sqrt(expected * (1.0 - expected) / draws.size) + 1e-12)
    assert transit.mean() == pytest.approx(np.mean(draws), abs=4.5 * np.std(draws) / np.sqrt(draws.size))


def test_far_tail_of_a_hold_agrees_with_adaptive_quadrature() -> None:
    transit = TransitTime(NORMAL, HoldDelay(0.04, 3.0, 0.25))
    days = np.array([12.0, 18.0, 25.0, 32.0])
    expected = np.log([total_sf(transit, float(t)) for t in days])
    assert expected[-1] < -40.0
    np.testing.assert_allclose(transit.log_sf(days), expected, atol=1e-4)
    given = conditional_sf(transit, days, 18.0)
    np.testing.assert_allclose(given[1:], np.exp(expected[1:] - expected[1]), rtol=1e-4)
    assert given[0] == 1.0


def test_far_tail_of_flights_is_the_finite_sum() -> None:
    transit = TransitTime(LEFT, CARGO_FLIGHTS)
    for days in (9.0, 30.0, 60.0):
        k = np.arange(1, 200)
        late = np.sum(stats.geom.pmf(k, 0.8) * [cut_sf(LEFT, days - 1.5 * n) for n in k])
        expected = 0.8 * cut_sf(LEFT, days) + 0.2 * late
        assert transit.log_sf(days) == pytest.approx(np.log(expected), abs=1e-9)
    assert transit.log_sf(60.0) < -50.0


@pytest.mark.parametrize("transit", [courier(), air_cargo(), TransitTime(LEFT, NoDelay())])
def test_quantile_inverts_the_distribution(transit: TransitTime) -> None:
    u = np.concatenate([[1e-9, 0.001], np.linspace(0.02, 0.98, 25), [0.999, 1.0 - 1e-9]])
    days = transit.quantile(u)
    assert np.all(np.diff(days) > 0)
    np.testing.assert_allclose(np.exp(transit.log_sf(days)), 1.0 - u, rtol=1e-6)
    np.testing.assert_allclose(transit.cdf(days), u, rtol=1e-6, atol=1e-14)


def test_air_cargo_is_multimodal_and_the_courier_is_not() -> None:
    days = np.linspace(1.6, 7.0, 2001)

    def n_modes(transit: TransitTime) -> int:
        density = np.diff(transit.cdf(days))
        return int(np.sum((density[1:-1] > density[:-2]) & (density[1:-1] > density[2:]) & (density[1:-1] > 1e-8)))

    assert n_modes(air_cargo()) >= 2
    assert n_modes(courier()) == 1


@pytest.mark.parametrize("transit", [courier(), air_cargo()])
def test_sample_follows_the_distribution(transit: TransitTime) -> None:
    rng = np.random.default_rng(11)
    n = 4096
    days, delay = transit.sample(strata(n, rng), strata(n, rng), strata(n, rng))
    days_sorted = np.sort(days)
    # 1.95 / sqrt(n): exceeded once in 1,000 by independent draws (Kolmogorov's limit law), less by stratified ones.
    assert largest_gap(days_sorted, transit.cdf(days_sorted)) < 1.95 / np.sqrt(n)
    assert np.mean(delay > 0) == pytest.approx(transit.delay.share, abs=1.0 / n)
    assert np.all(days - delay >= transit.body.minimum_days)


@pytest.mark.parametrize(
    "transit",
    [
        courier(),
        air_cargo(),
        TransitTime(NORMAL, HoldDelay(0.3, 1.5, 0.8)),
        TransitTime(LEFT, MissedFlights(0.4, 1.0, 0.7)),
        TransitTime(LOGGED, HoldDelay(0.3, 1.5, 0.8)),
        TransitTime(LEFT, HoldDelay(1.0, 3.0, 0.5)),
        TransitTime(TransitBody.point(5.0), HoldDelay(0.5, 3.0, 0.5)),
    ],
)
@pytest.mark.parametrize("elapsed", [4.0, 9.0, 40.0])
def test_sample_given_follows_the_conditional_distribution(transit: TransitTime, elapsed: float) -> None:
    rng = np.random.default_rng(13)
    n = 4096
    uniforms = strata(n, rng), strata(n, rng), strata(n, rng)
    days, delay = transit.sample_given(elapsed, *uniforms)
    moved = np.sort(days[days > 5.0]) if not transit.body.scale else np.sort(days)
    cdf = 1.0 - conditional_sf(transit, moved, elapsed)
    share_before = 1.0 - moved.size / n
    assert largest_gap(moved, (cdf - share_before) / (1.0 - share_before)) < 1.95 / np.sqrt(n) + 1e-12
    assert np.all(days >= elapsed)
    # The delay's own part of the wait: what is left is a body, never under the minimum.
    assert np.all(days - delay >= transit.body.minimum_days - 1e-9)


# A usual late box; one far out in the tail; and a body so narrow that its step hides between even cells.
@pytest.mark.parametrize(
    ("body", "hold", "elapsed"),
    [
        (NORMAL, HoldDelay(0.3, 1.5, 0.8), 9.0),
        (LEFT, HoldDelay(0.3, 0.02, 0.4), 20.0),
        (NARROW, HoldDelay(0.04, 10.0, 0.5), 6.0),
    ],
)
def test_the_delay_of_a_late_box_agrees_with_adaptive_quadrature(
    body: TransitBody, hold: HoldDelay, elapsed: float
) -> None:
    law = stats.lognorm(hold.sd_log, scale=hold.median_days)
    room = elapsed - body.minimum_days
    late = hold_sf_by_quadrature(body, hold, elapsed)

    def waits(y: float) -> float:
        return hold_density(hold, y) * cut_sf(body, elapsed - y)

    u = np.array([0.02, 0.3, 0.5, 0.9, 0.999])
    for chance, days in zip(u, hold.draw_late(body, elapsed, u), strict=True):
        above = float(law.sf(max(days, room)))
        if days < room:
            for low, high in pairwise(days + np.linspace(0.0, 1.0, 200) * (room - days)):
                above += integrate.quad(waits, low, high, epsabs=0.0)[0]
        assert above / late == pytest.approx(1.0 - chance, abs=2e-5)


def test_sample_rises_with_each_uniform_and_repeats() -> None:
    rng = np.random.default_rng(17)
    rising = np.sort(rng.random(512))
    fixed = np.full(512, 0.97)
    for transit in (courier(), air_cargo()):
        for uniforms in ((rising, fixed, fixed), (fixed, rising, fixed), (fixed, fixed, rising)):
            assert np.all(np.diff(transit.sample(*uniforms)[0]) >= 0)
        assert np.all(np.diff(transit.sample_given(9.0, rising, fixed, fixed)[0]) >= 0)
        once, again = transit.sample(rising, rising, fixed), transit.sample(rising, rising, fixed)
        np.testing.assert_array_equal(once, again)
        early = transit.sample_given(1.0, rising, rising, fixed)
        np.testing.assert_array_equal(early, once)


def check_solved(solved: SolvedTransit, wanted: TransitQuantiles, within: float) -> None:
    returned = solved.transit.quantile(CHANCES)
    np.testing.assert_allclose(returned, [wanted.p10, wanted.p50, wanted.p90], rtol=within)
    assert solved.transit.delay.share == solved.delay_share


@pytest.mark.parametrize(
    ("p10", "p50", "p90"), [(3, 5, 10), (4, 6, 9), (4, 5, 6), (4, 6, 7), (6, 9, 16), (5, 5.1, 5.6), (2, 7, 8)]
)
@pytest.mark.parametrize("delay", [COURIER_HOLD, MissedFlights(0.05, 1.5, 0.2), NoDelay()])
def test_usual_quantiles_come_back_beside_the_whole_delay(p10: float, p50: float, p90: float, delay: Delay) -> None:
    wanted = TransitQuantiles(p10, p50, p90)
    solved = solve_transit(wanted, delay, 1.0)
    check_solved(solved, wanted, 1e-3)
    assert solved.delay_share == delay.share
    assert not solved.share_lowered


hold_delays = st.builds(HoldDelay, st.floats(0.0, 0.5), st.floats(0.2, 20.0), st.floats(0.1, 1.5))
flight_delays = st.builds(MissedFlights, st.floats(0.0, 0.5), st.floats(0.3, 7.0), st.floats(0.0, 0.9))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    p50=st.floats(0.5, 40.0),
    down=st.floats(0.0, 0.98),
    up=st.floats(0.0, 4.0),
    minimum_share=st.floats(0.0, 1.5),
    delay=st.one_of(hold_delays, flight_delays),
)
def test_quantiles_in_are_quantiles_out(p50: float, down: float, up: float, minimum_share: float, delay: Delay) -> None:
    wanted = TransitQuantiles(p50 * (1.0 - down), p50, p50 * (1.0 + up))
    solved = solve_transit(wanted, delay, minimum_share * wanted.p10)
    check_solved(solved, wanted, 0.01)
    assert solved.delay_share <= delay.share
    assert np.isfinite(solved.transit.mean())
    if wanted.p10 < wanted.p90:
        assert solved.transit.body.minimum_days == pytest.approx(min(minimum_share, 0.9) * wanted.p10)
        assert solved.share_lowered == (solved.delay_share < delay.share)


@pytest.mark.parametrize(("p10", "p50", "p90"), [(2, 3, 5), (3, 4, 5), (1, 2, 3.5), (1, 9, 10)])
def test_a_minimum_close_to_p10_is_kept_without_replacing_the_body(p10: float, p50: float, p90: float) -> None:
    wanted = TransitQuantiles(p10, p50, p90)
    for delay in (NoDelay(), COURIER_HOLD):
        solved = solve_transit(wanted, delay, 0.9 * p10)
        check_solved(solved, wanted, 1e-3)
        assert solved.transit.quantile(0.0) >= 0.9 * p10
        # A bell curve of which more than a fifth is cut off no longer looks like itself.
        assert solved.transit.body.cut_share <= 0.2


def test_share_is_lowered_where_no_body_fits_beside_it() -> None:
    # With 30 % held for about 10 days, the 90th percentile cannot be 3.2 days; halved twice the share is below 10 %.
    wanted = TransitQuantiles(3.0, 3.1, 3.2)
    solved = solve_transit(wanted, HoldDelay(0.3, 10.0, 0.5), 1.0)
    assert solved.share_lowered
    assert solved.delay_share == 0.075
    check_solved(solved, wanted, 0.01)


@pytest.mark.parametrize("delay", [COURIER_HOLD, CARGO_FLIGHTS], ids=["hold", "flights"])
def test_where_no_body_fits_beside_any_share_there_is_no_delay(delay: Delay) -> None:
    """A minute and a half, 89.9 and 90 days: a body so skewed leaves no room for another hump."""
    wanted = TransitQuantiles(1e-3, 89.9, 90.0)
    solved = solve_transit(wanted, delay, 0.0)
    assert (solved.delay_share, solved.share_lowered) == (0.0, True)
    assert solved.transit.delay == NoDelay()
    np.testing.assert_allclose(solved.transit.quantile(CHANCES), (1e-3, 89.9, 90.0), rtol=0.005)


def test_a_quantile_on_a_plateau_is_not_taken_for_solved() -> None:
    # Ten in a hundred late by half a day leave the 90th percentile undetermined between the two humps.
    wanted = TransitQuantiles(0.666, 0.6697, 0.6751)
    solved = solve_transit(wanted, HoldDelay(0.1, 0.58, 0.316), 0.0)
    check_solved(solved, wanted, 0.01)
    assert solved.share_lowered


def test_a_minimum_that_would_cut_off_more_than_a_fifth_bends_another_curve() -> None:
    """Beside a minimum of 2.64 days the bell curve through 3, 4 and 5 days would lose 0.22 of itself."""
    body = solve_transit(TransitQuantiles(3, 4, 5), NoDelay(), 2.64).transit.body
    assert body.cut_share <= 0.2
    np.testing.assert_allclose(body.quantile(CHANCES), [3, 4, 5], rtol=1e-6)


def test_a_quantile_is_where_the_chance_moves_within_half_a_percent_of_it() -> None:
    """A tenth late by four days leave the 90th percentile almost on a plateau: 0.4 % from it the chance must differ."""
    wanted = TransitQuantiles(2.9675, 3.8361, 5.1111)
    solved = solve_transit(wanted, HoldDelay(0.1, 4.1536, 0.14817), 2.0627)
    check_solved(solved, wanted, 1e-6)
    days = np.array([2.9675, 3.8361, 5.1111])
    assert np.all(solved.transit.cdf(0.996 * days) < CHANCES - 1e-5)
    assert np.all(solved.transit.cdf(1.004 * days) > CHANCES + 1e-5)


def test_where_every_box_is_delayed_the_lowest_uniform_is_too() -> None:
    transit = TransitTime(LEFT, HoldDelay(1.0, 3.0, 0.5))
    assert transit.sample([0.5], [0.0], [0.5])[1] == pytest.approx([3.0])
    assert transit.sample_given(9.0, [0.5], [0.0], [0.5])[1] > 0


def test_no_chance_is_above_one_whatever_the_share_of_delays() -> None:
    for share in np.linspace(0.01, 0.99, 99):
        log_sf = TransitTime(LEFT, MissedFlights(float(share), 1.5, 0.2)).log_sf([1.0, 2.0, 2.5])
        assert log_sf.max() <= 0.0


def test_a_delay_that_never_comes_is_none() -> None:
    solved = solve_transit(TransitQuantiles(3, 5, 10), HoldDelay(0.0, 10.0, 0.5), 2.0)
    assert (solved.transit.delay, solved.share_lowered) == (NoDelay(), False)


def test_equal_quantiles_are_a_fixed_time_without_delay() -> None:
    solved = solve_transit(TransitQuantiles(6, 6, 6), COURIER_HOLD, 2.0)
    assert (solved.delay_share, solved.share_lowered) == (0.0, False)
    u = np.random.default_rng(1).random((3, 100))
    days, delay = solved.transit.sample(*u)
    assert days.dtype == np.float64
    np.testing.assert_array_equal(days, 6.0)
    np.testing.assert_array_equal(delay, 0.0)
    np.testing.assert_array_equal(solved.transit.cdf([5.999, 6.0, 6.001]), [0.0, 1.0, 1.0])
    np.testing.assert_array_equal(solved.transit.quantile(CHANCES), 6.0)
    np.testing.assert_array_equal(solved.transit.sample_given(5.0, *u)[0], 6.0)
    assert solved.transit.mean() == 6.0


@pytest.mark.parametrize(("p10", "p50", "p90"), [(3, 3, 10), (3, 10, 10), (3, 3.000001, 10)])
def test_ties_are_moved_apart(p10: float, p50: float, p90: float) -> None:
    wanted = TransitQuantiles(p10, p50, p90)
    check_solved(solve_transit(wanted, COURIER_HOLD, 1.0), wanted, 0.01)


@pytest.mark.parametrize(
    ("given", "apart"),
    [((3, 3, 10), (2.997, 3, 10)), ((3, 10, 10), (3, 10, 10.01)), ((3, 3, 3.001), (2.997, 3, 3.003))],
)
def test_ties_are_moved_apart_by_a_thousandth_of_the_median(given: tuple[float, ...], apart: tuple[float, ...]) -> None:
    solved = solve_transit(TransitQuantiles(*given), NoDelay(), 0.0)
    np.testing.assert_allclose(solved.transit.quantile(CHANCES), apart, rtol=1e-6)


@pytest.mark.parametrize("delay", [COURIER_HOLD, CARGO_FLIGHTS])
def test_times_below_a_minute_are_taken_as_a_minute(delay: Delay) -> None:
    tiny = 5e-324  # the smallest number above 0
    assert pytest.approx(1.0) == SHORTEST_DAYS * 24 * 60
    fixed = solve_transit(TransitQuantiles(tiny, tiny, tiny), delay, 2.0)
    assert fixed == solve_transit(TransitQuantiles(*[SHORTEST_DAYS] * 3), delay, 2.0)
    for p50, p90 in ((0.01, 0.5), (0.5, 1.0), (3.0, 89.0)):
        solved = solve_transit(TransitQuantiles(tiny, p50, p90), delay, 2.0)
        assert solved == solve_transit(TransitQuantiles(SHORTEST_DAYS, p50, p90), delay, 2.0)
        np.testing.assert_allclose(solved.transit.cdf(np.array([p50, p90])), [0.5, 0.9], atol=0.01)


def test_time_so_far_beyond_the_longest_is_refused() -> None:
    transit = TransitTime(LEFT, NoDelay())
    assert transit.body.longest_days == pytest.approx(8.0)
    with pytest.raises(ValueError, match="elapsed_days"):
        transit.sample_given(8.5, [0.5], [0.5], [0.5])


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ((0, 1, 2), "p10"),
        ((2, 1, 3), "p50"),
        ((1, 3, 2), "p90"),
        ((1, np.nan, 2), "p50"),
        ((np.inf, np.inf, np.inf), "p10"),
        ((1, np.inf, np.inf), "p50"),
        ((1, 2, np.inf), "p90"),
    ],
)
def test_quantiles_out_of_order_name_the_field(values: tuple[float, float, float], field: str) -> None:
    with pytest.raises(ValueError, match=field):
        TransitQuantiles(*values)


def test_delays_out_of_range_name_the_field() -> None:
    with pytest.raises(ValueError, match="share"):
        HoldDelay(1.1, 10.0, 0.5)
    with pytest.raises(ValueError, match="median_days"):
        HoldDelay(0.1, 0.0, 0.5)
    with pytest.raises(ValueError, match="sd_log"):
        HoldDelay(0.1, 10.0, np.nan)
    with pytest.raises(ValueError, match="interval_days"):
        MissedFlights(0.1, -1.0, 0.2)
    with pytest.raises(ValueError, match="again_share"):
        MissedFlights(0.1, 1.5, 1.0)
    with pytest.raises(ValueError, match="share"):
        NoDelay().with_share(0.1)
    with pytest.raises(ValueError, match="minimum_days"):
        solve_transit(TransitQuantiles(3, 5, 10), COURIER_HOLD, -1.0)
    with pytest.raises(ValueError, match="minimum_days"):
        solve_transit(TransitQuantiles(3, 5, 10), COURIER_HOLD, np.inf)
