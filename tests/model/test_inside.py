"""Air inside by products of many hours against the plain steps, hour by hour."""

import numpy as np
import pytest

from model.exposure.box import Box, inside_air
from model.exposure.inside import HOURS_AT_ONCE, InsideAir

BOX = Box(ua_w_per_k=0.96, heat_capacity_j_per_k=17_000.0)
PACKED = Box(ua_w_per_k=0.96, heat_capacity_j_per_k=17_000.0, heat_pack_hours=40.0, heat_packs=1, cold_packs=1)


def outside_of(hours: int, *, mean_c: float) -> np.ndarray:
    rng = np.random.default_rng(hours)
    rows = np.empty((1 + hours, 7), dtype=np.float32)
    rows[1:] = rng.normal(mean_c, 6.0, (hours, 7)).astype(np.float32)
    return rows


@pytest.mark.parametrize("box", [BOX, PACKED], ids=["bare", "with packs"])
@pytest.mark.parametrize("hours", [1, HOURS_AT_ONCE - 1, HOURS_AT_ONCE, HOURS_AT_ONCE + 1, 5 * HOURS_AT_ONCE + 3])
def test_products_are_the_steps(box: Box, hours: int) -> None:
    """The same air, once as the product of a matrix and once stepped; to the rounding of single precision at 30 °C."""
    air = InsideAir(box, hours)
    steady = outside_of(hours, mean_c=30.0)
    steady[0] = steady[1]
    stepped, working = air._stepped(steady.copy(), np.full(7, hours, dtype=np.float32))
    np.testing.assert_allclose(air._multiplied(steady.copy()), stepped, atol=2e-5)
    assert working.all()


def test_followed_air_is_that_of_the_exact_response_in_double_precision() -> None:
    """Its hourly ends give each hour's mean: steady + w (start - steady), w = tau (1 - e^(-1/tau))."""
    hours = 70
    rows = outside_of(hours, mean_c=18.0)
    outside = rows[1:].astype(float)
    ends = inside_air(outside, BOX, outside[0])
    tau = BOX.time_constant_h
    starts = np.vstack([outside[:1], ends[:-1]])
    expected = outside + tau * (1.0 - np.exp(-1.0 / tau)) * (starts - outside)
    inside, working = InsideAir(BOX, hours).follow(rows, np.full(7, hours, dtype=np.float32))
    np.testing.assert_allclose(inside, expected, atol=2e-5)
    assert working.all()


def test_air_that_may_freeze_a_heat_pack_is_stepped() -> None:
    """A pack in hard frost stops, and the box then cools as one without; in mild air it keeps it warmer to the end."""
    hours = 30
    frost, mild = (np.full((1 + hours, 1), c, dtype=np.float32) for c in (-25.0, 12.0))
    opened = np.full(1, hours, dtype=np.float32)
    warm = Box(ua_w_per_k=0.96, heat_capacity_j_per_k=17_000.0, heat_pack_hours=40.0, heat_packs=1)
    frozen, working = InsideAir(warm, hours).follow(frost, opened)
    assert not working.any()
    assert frozen[-1, 0] == pytest.approx(-25.0, abs=0.1)
    kept, working = InsideAir(warm, hours).follow(mild, opened)
    assert working.all()
    assert kept[-1, 0] > 15.0
