"""The box: an ODE solver, published conductivities, step responses and heats."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad, solve_ivp

from model.exposure.box import COLD_PACK_J, Box, conductance_w_per_k, inside_air, mean_weight, step_inside
from model.reference.tables import load_reference

Array = NDArray[np.float64]

CONTAINERS = load_reference().containers
# EPS at 24 °C, types I, VIII, II, IX, W/m.K: ASTM C578 data sheet.
EPS_W_PER_MK = (0.0375, 0.0368, 0.0346, 0.0332)


def packed(container: str, *, heat_pack_hours: float = 0, heat_packs: int = 0, cold_packs: int = 0) -> Box:
    row = CONTAINERS[container]
    ua = conductance_w_per_k(row.length_m, row.width_m, row.height_m, row.wall_m, row.conductivity_w_per_mk)
    return Box(ua, row.heat_capacity_j_per_k, heat_pack_hours, heat_packs, cold_packs)


def step_hours(container: str) -> float:
    """Hours until 95 % of a step outside from 5 to 23 °C is through, from a trace by the minute."""
    box = packed(container)
    inside, minutes = np.array(5.0), 0
    while inside < 5.0 + 0.95 * 18.0:
        inside, minutes = step_inside(inside, np.array(23.0), 0.0, box.decay(1 / 60)), minutes + 1
    return minutes / 60


def solved(box: Box, outside_c: Array, start_c: float, *, power: Array) -> Array:
    """Inside at the end of each hour by scipy's ODE solver, an hour at a time: C dT/dt = UA (T_out - T) + P."""

    def slope(_t: float, inside_c: Array, outside: float, watts: float) -> Array:
        rate: Array = (box.ua_w_per_k * (outside - inside_c) + watts) / box.heat_capacity_j_per_k
        return rate

    inside, now = [], start_c
    for step in zip(outside_c, power, strict=True):
        now = float(solve_ivp(slope, (0.0, 3600.0), [now], args=step, rtol=1e-9, atol=1e-9).y[0, -1])
        inside.append(now)
    return np.array(inside)


@pytest.mark.parametrize("container", ["foam_box", "carton", "cuttings_box"])
def test_inside_air_is_the_solution_of_the_ode(container: str) -> None:
    """Two packs of 100 g iron for 30 h: 2 x 740 kJ / 30 h = 13.7 W, then nothing."""
    box = packed(container, heat_pack_hours=30, heat_packs=2)
    outside = 12.0 + 9.0 * np.sin(np.arange(48) * 0.7) + np.random.default_rng(2).normal(0, 3, 48)
    power = np.where(np.arange(48) < 30, 2 * 740_000 / (30 * 3600), 0.0)
    expected = solved(box, outside, 21.0, power=power)
    assert expected.min() > 0  # no pack freezes
    np.testing.assert_allclose(inside_air(outside, box, 21.0), expected, atol=1e-6)


def test_cold_packs_are_the_solution_of_the_ode_until_they_are_spent() -> None:
    """Three packs of 0.35 kg ice, melted and warmed to 10 °C, at 8 °C x UA; the last hour in part."""
    box = packed("foam_box", cold_packs=3)
    watts = 8.0 * box.ua_w_per_k
    hours = 3 * 0.35 * (334_000 + 41_900) / watts / 3600
    power = -watts * np.clip(hours - np.arange(30), 0, 1)
    np.testing.assert_allclose(
        inside_air(np.full(30, 34.0), box, 30.0), solved(box, np.full(30, 34.0), 30.0, power=power), atol=1e-6
    )


def test_mean_over_an_hour_is_the_integral_of_the_solution() -> None:
    tau = 4.9
    mean = quad(lambda t: 10.0 + (25.0 - 10.0) * np.exp(-t / tau), 0.0, 1.0)[0]
    assert 10.0 + mean_weight(tau) * (25.0 - 10.0) == pytest.approx(mean, rel=1e-12)


@pytest.mark.parametrize(("k", "ua"), [(0.0375, 0.9581), (0.0368, 0.9433), (0.0346, 0.8962), (0.0332, 0.8657)])
def test_conductance_by_hand_from_published_conductivities(k: float, ua: float) -> None:
    """60 x 40 x 30 cm, 3 cm wall: mid-wall 2 x (.57 x .37 + .57 x .27 + .37 x .27) = 0.9294 m2.

    Divided by 0.03 / k + 0.17 m2K/W; surface resistances 0.13 inside and 0.04 outside: ISO 6946.
    """
    assert conductance_w_per_k(0.60, 0.40, 0.30, 0.030, k) == pytest.approx(ua, abs=1e-4)


def test_foam_boxes_use_a_published_conductivity() -> None:
    assert CONTAINERS["foam_box"].conductivity_w_per_mk in EPS_W_PER_MK
    assert CONTAINERS["cuttings_box"].conductivity_w_per_mk in EPS_W_PER_MK


@pytest.mark.parametrize(
    "sides", [(0.6, 0.4, 0.02, 0.03, 0.04), (0.6, 0.4, 0.3, 0.0, 0.04), (0.6, 0.4, 0.3, 0.03, 0.0)]
)
def test_an_impossible_box_is_refused(sides: tuple[float, float, float, float, float]) -> None:
    with pytest.raises(ValueError, match="walls thinner"):
        conductance_w_per_k(*sides)


def test_box_of_cuttings_follows_outside_in_four_to_six_hours() -> None:
    """Friedman & Rot 2005, ARO Volcani: from 5 to 22-24 °C outside, the inside gets there in 4-6 h."""
    assert 4.0 <= step_hours("cuttings_box") <= 6.0


def test_insulation_buys_hours_not_days() -> None:
    """The largest and best box is through within a day, and later than the carton."""
    assert step_hours("carton") < step_hours("lined_carton") < step_hours("foam_box") < 24.0


@pytest.mark.parametrize(("hours", "watts"), [(72, (2.8, 2.9)), (40, (5.1, 5.2))])
def test_heat_pack_power_of_iron(hours: float, watts: tuple[float, float]) -> None:
    """824 kJ per mol Fe2O3 (CRC Handbook) = 7.4 kJ per g iron: 100 g over 72 h give 2.8-2.9 W, over 40 h 5.1 W."""
    per_gram = 824_000 / (2 * 55.845)
    power = packed("foam_box", heat_pack_hours=hours, heat_packs=1).heat_pack_w
    assert watts[0] < power < watts[1]
    assert power == pytest.approx(100 * per_gram / (hours * 3600), rel=0.005)
    assert packed("foam_box", heat_pack_hours=hours, heat_packs=3).heat_pack_w == pytest.approx(3 * power)


def test_no_power_without_packs_or_hours() -> None:
    assert packed("foam_box", heat_pack_hours=72).heat_pack_w == 0.0
    assert packed("foam_box", heat_packs=2).heat_pack_w == 0.0
    assert packed("foam_box").cooling_w == packed("foam_box").cooling_hours == 0.0


def test_cold_packs_take_up_the_heat_of_their_ice() -> None:
    """Latent heat of ice 333.6 kJ/kg, water 4.19 kJ/kg.K (CRC Handbook): 0.35 kg from 0 to 10 °C take up 131 kJ."""
    assert pytest.approx(0.35 * (333_600 + 41_900), rel=0.002) == COLD_PACK_J
    box = packed("foam_box", cold_packs=4)
    taken = box.cooling_w * box.cooling_hours * 3600
    assert taken == pytest.approx(4 * 0.35 * (333_600 + 41_900), rel=0.002)
    removed = -box.rises_c(100)[1].sum() * box.ua_w_per_k * 3600
    assert removed == pytest.approx(taken, rel=1e-9)


def test_ice_keeps_the_inside_five_to_eight_degrees_cooler() -> None:
    """Friedman & Rot 2005: only 5-8 °C. Reached once the box has followed, and gone when the ice is."""
    inside = inside_air(np.full(72, 35.0), packed("foam_box", cold_packs=4), 35.0)
    assert 5.0 <= 35.0 - inside.min() <= 8.0
    assert inside[-1] == pytest.approx(35.0, abs=0.01)


def test_a_pack_that_freezes_stops_for_good() -> None:
    """Box closed at 1 °C into -30 °C, then 10 °C again: it follows the ODE without the pack from the frozen hour on."""
    box = packed("foam_box", heat_pack_hours=72, heat_packs=1)
    outside = np.concatenate([np.full(12, -30.0), np.full(36, 10.0)])
    inside = inside_air(outside, box, 1.0)
    working = inside[0] > 0
    assert not working  # frozen at the end of the first hour, which the pack still warmed
    power = np.where(np.arange(48) < 1, 740_000 / (72 * 3600), 0.0)
    np.testing.assert_allclose(inside, solved(box, outside, 1.0, power=power), atol=1e-6)


def test_freezing_ends_the_heat_pack_but_not_the_cold_packs() -> None:
    both = packed("foam_box", heat_pack_hours=72, heat_packs=1, cold_packs=2)
    cold = packed("foam_box", cold_packs=2)
    np.testing.assert_allclose(
        inside_air(np.full(20, -5.0), both, -1.0), inside_air(np.full(20, -5.0), cold, -1.0), atol=1e-12
    )


def test_a_pack_ends_within_an_hour_in_proportion() -> None:
    box = packed("foam_box", heat_pack_hours=10.25, heat_packs=1)
    steady = box.heat_pack_w / box.ua_w_per_k
    assert (box.rises_c(12)[0][9:] / steady).tolist() == pytest.approx([1.0, 0.25, 0.0])


def test_many_packs_warm_no_further_than_a_pack_gets_hot() -> None:
    """From memory: the surface of a pack stays below about 70 °C, so a closed box at 10 °C cannot pass that."""
    crowded = packed("foam_box", heat_pack_hours=24, heat_packs=20)
    assert crowded.heat_pack_w / crowded.ua_w_per_k > 150
    assert 10 + 50 < inside_air(np.full(48, 10.0), crowded, 10.0).max() <= 70


def test_draws_are_followed_each_by_itself() -> None:
    box = packed("foam_box", heat_pack_hours=40, heat_packs=1)
    outside = np.random.default_rng(5).normal(3.0, 9.0, (48, 6))
    start = np.linspace(2.0, 25.0, 6)
    apart = np.stack([inside_air(outside[:, i], box, start[i]) for i in range(6)], axis=1)
    np.testing.assert_array_equal(inside_air(outside, box, start), apart)


@settings(max_examples=50, deadline=None)
@given(hours=st.floats(0.01, 50.0), parts=st.integers(1, 20), outside=st.floats(-30, 50), start=st.floats(-30, 50))
def test_many_small_steps_are_one_large_one(hours: float, parts: int, outside: float, start: float) -> None:
    box = packed("foam_box")
    now = np.array(start)
    for _ in range(parts):
        now = step_inside(now, np.array(outside), 1.5, box.decay(hours / parts))
    assert now == pytest.approx(step_inside(np.array(start), np.array(outside), 1.5, box.decay(hours)), abs=1e-9)
