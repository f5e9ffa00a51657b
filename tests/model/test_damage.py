"""The thermal clock: laws that hold for every draw, plain sums, and published limits of heat and cold."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from model.exposure.damage import ClockDraws, ExposureClock, chill_rate, damage_rate, extreme_rate
from model.reference.tables import load_reference

Array = NDArray[np.float64]

# The error that the clock states for its sums.
SUM_ERROR = 1e-5


def clock_of(q10: float, threshold_c: float, chill_per_day_c: float) -> ClockDraws:
    """One genus, one draw."""
    return ClockDraws(np.array([np.log(q10)]), np.array([[threshold_c]]), np.array([[chill_per_day_c]]))


def rate_at(temperature_c: float, clock: ClockDraws) -> float:
    return float(damage_rate(np.array(temperature_c), clock)[0, 0])


CLOCKS = st.builds(clock_of, st.floats(1.01, 4.0), st.floats(1.0, 19.0), st.floats(0.001, 6.0))


def drawn_clock(genera: int, draws: int, rng: np.random.Generator) -> ClockDraws:
    return ClockDraws(
        log_q10=np.log(1.0 + rng.lognormal(np.log(0.6), 0.4, draws)),
        threshold_c=rng.normal(11.0, 3.0, (genera, draws)),
        chill_per_day_c=rng.lognormal(-1.0, 1.0, (genera, draws)),
    )


@settings(max_examples=200, deadline=None)
@given(clock=CLOCKS, one=st.floats(-10.0, 60.0), other=st.floats(-10.0, 60.0))
def test_rate_rises_away_from_the_threshold_on_both_sides(clock: ClockDraws, one: float, other: float) -> None:
    """Above the threshold warmer is never slower, below it colder is never slower: U-shaped for every draw."""
    threshold = float(clock.threshold_c[0, 0])
    low, high = sorted((one, other))
    if low >= threshold:
        assert rate_at(high, clock) >= rate_at(low, clock)
    elif high <= threshold:
        assert rate_at(low, clock) >= rate_at(high, clock)
    assert rate_at(one, clock) >= rate_at(threshold, clock)


@settings(max_examples=100, deadline=None)
@given(clock=CLOCKS)
def test_rate_is_continuous_at_the_threshold_and_where_heat_and_frost_set_in(clock: ClockDraws) -> None:
    for temperature_c in (float(clock.threshold_c[0, 0]), 38.0, -1.0):
        below, above = rate_at(temperature_c - 1e-9, clock), rate_at(temperature_c + 1e-9, clock)
        assert below == pytest.approx(above, rel=1e-6, abs=1e-5)


@settings(max_examples=100, deadline=None)
@given(clock=CLOCKS)
def test_a_day_at_twenty_degrees_is_one_equivalent_day(clock: ClockDraws) -> None:
    assert rate_at(20.0, clock) == 1.0


@settings(max_examples=100, deadline=None)
@given(clock=CLOCKS, temperature_c=st.floats(19.0, 28.0))
def test_ten_degrees_speed_the_clock_by_q10(clock: ClockDraws, temperature_c: float) -> None:
    ratio = rate_at(temperature_c + 10.0, clock) / rate_at(temperature_c, clock)
    assert ratio == pytest.approx(float(np.exp(clock.log_q10[0])), rel=1e-12)


def test_rate_below_the_threshold_by_hand() -> None:
    """Q10 2, threshold 10 °C, 0.3 a day and °C, at 4 °C: 2^((10 - 20)/10) + 0.3 x 6 = 2.3, of which 1.8 is chilling."""
    clock = clock_of(2.0, 10.0, 0.3)
    assert rate_at(4.0, clock) == pytest.approx(2.3, rel=1e-12)
    assert chill_rate(np.array(4.0), clock)[0, 0] == pytest.approx(1.8, rel=1e-12)
    assert chill_rate(np.array(12.0), clock)[0, 0] == 0.0


def test_an_hour_at_46_6_degrees_leaves_most_foliage_unharmed() -> None:
    """Hansen, Hara & Tenbrink, HortScience: the hour costs less than a day at 20 °C, yet clearly more than an hour."""
    clock = clock_of(1.6, 12.0, 0.5)
    assert 3 / 24 < rate_at(46.6, clock) / 24 < 1.0


def test_half_an_hour_at_53_degrees_kills() -> None:
    """Krause et al. 2010: leaves of tropical trees die at 50-53 °C; the rules of thumb lose plants past ten days."""
    assert rate_at(53.0, clock_of(1.6, 12.0, 0.5)) / 48 > 10.0


def test_heat_of_death_is_tenfold_in_two_to_five_degrees() -> None:
    """From memory: z of thermal death of plant tissue is 2-5 °C."""
    tenfold = extreme_rate(np.array([50.0]))[0] * 10.0
    assert extreme_rate(np.array([52.0]))[0] < tenfold < extreme_rate(np.array([55.0]))[0]


def test_heat_by_the_documented_formula() -> None:
    """0.1 a day x (10^((T - 38)/4) - 1): tenfold in 4 °C, so 10 - 1, 100 - 1 and 1,000 - 1 tenths a day."""
    np.testing.assert_allclose(extreme_rate(np.array([42.0, 46.0, 50.0])), [0.9, 9.9, 99.9], rtol=1e-12)


def test_frost_by_the_documented_formula() -> None:
    """720 a day for each degree below -1 °C: a degree below for an hour is 30 days."""
    np.testing.assert_allclose(extreme_rate(np.array([-2.0, -3.5])), [720.0, 1800.0], rtol=1e-12)


def test_an_hour_of_freezing_kills() -> None:
    """From memory: tropical leaves freeze at -1 to -2 °C; three weeks at 20 °C leave 5 in 100 healthy."""
    assert rate_at(-2.5, clock_of(1.6, 12.0, 0.0)) / 24 > 21.0


def test_no_heat_nor_frost_between() -> None:
    np.testing.assert_array_equal(extreme_rate(np.linspace(-1.0, 38.0, 40)), 0.0)


def test_the_priors_q10_is_that_of_cuttings() -> None:
    """Enfield 2011 in Faust et al., Hort. Reviews 44: Q10 of cuttings 1.3-2.1 at 20-25 °C; so the prior's median."""
    assert 1.3 < 1.0 + load_reference().prior_scales["q10_less_one"].median < 2.1


def plain_sum(temperature_c: Array, hours: Array, clock: ClockDraws) -> tuple[Array, Array]:
    """Equivalent and chilling days by adding up the rates of every hour."""
    total = np.zeros(clock.threshold_c.shape)
    chill = np.zeros_like(total)
    for row, part in zip(temperature_c, hours, strict=True):
        total += damage_rate(row, clock) * part / 24.0
        chill += chill_rate(row, clock) * part / 24.0
    return total, chill


@pytest.mark.parametrize(
    ("mean_c", "sd_c"),
    [(25.0, 1.0), (14.0, 4.0), (10.0, 9.0), (30.0, 12.0)],
    ids=["warm: no genus chilled", "about the thresholds", "chilling to freezing", "heat above 38"],
)
def test_clock_adds_up_what_the_rates_say(mean_c: float, sd_c: float) -> None:
    """Blocks of hours, fewer and fewer draws, the last of them in part, against a plain sum over every hour."""
    rng = np.random.default_rng(11)
    genera, draws, block = 3, 7, 8
    clock = drawn_clock(genera, draws, rng)
    duration = np.sort(rng.uniform(1.0, 60.0, draws))[::-1]
    n_hours = int(np.ceil(duration[0] / block)) * block
    temperature = rng.normal(mean_c, sd_c, (n_hours, draws)).astype(np.float32)
    parts = np.clip(duration - np.arange(n_hours)[:, None], 0.0, 1.0).astype(np.float32)
    adder = ExposureClock(clock)
    for start in range(0, n_hours, block):
        n = int((duration > start).sum())
        left = np.minimum(duration[:n] - start, block).astype(np.float32)
        adder.add(temperature[start : start + block, :n], left if left.min() < block else None)
    expected, expected_chill = plain_sum(temperature.astype(float), parts.astype(float), clock)
    np.testing.assert_allclose(adder.equivalent_days(), expected, rtol=SUM_ERROR)
    np.testing.assert_allclose(adder.chill_dose_days(), expected_chill, rtol=SUM_ERROR, atol=1e-6)
    assert (expected_chill.max() > 0) == (mean_c < 25 or sd_c > 1)


def test_the_cases_above_reach_frost_and_heat() -> None:
    rng = np.random.default_rng(11)
    assert rng.normal(10.0, 9.0, 300).min() < -1.0
    assert rng.normal(30.0, 12.0, 300).max() > 38.0


def test_order_of_hours_does_not_matter() -> None:
    """Heat and cold damage add up over time (Faber, Orsted & Ehlers 2024, J. Exp. Bot. 75:3467)."""
    rng = np.random.default_rng(3)
    clock = drawn_clock(2, 5, rng)
    temperature = rng.normal(15.0, 12.0, (24, 5)).astype(np.float32)
    forward, backward = ExposureClock(clock), ExposureClock(clock)
    forward.add(temperature)
    backward.add(temperature[:10:-1])
    backward.add(temperature[10::-1])
    np.testing.assert_allclose(forward.equivalent_days(), backward.equivalent_days(), rtol=SUM_ERROR)
