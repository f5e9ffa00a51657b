"""Simulated journeys made to agree with a logger's summary."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.exposure.measured import Measured, agreeing

AIR = np.array([[10.0, 12.0], [20.0, 16.0], [18.0, 30.0], [99.0, 22.0]])
# The first journey's last hour is none of its own.
HOURS = np.array([[1.0, 1.0], [1.0, 1.0], [1.0, 1.0], [0.0, 1.0]])
OWN = np.where(HOURS > 0, AIR, np.nan)


def test_nothing_measured_changes_nothing() -> None:
    np.testing.assert_array_equal(agreeing(AIR, HOURS, Measured()), AIR)


def test_a_mean_shifts_each_journey() -> None:
    """Their means are 16 and 20."""
    agreed = agreeing(AIR, HOURS, Measured(mean_c=21.0))
    np.testing.assert_allclose(agreed - AIR, np.broadcast_to([5.0, 1.0], AIR.shape))


@pytest.mark.parametrize(
    ("measured", "shifts"), [(Measured(min_c=8.0), [-2.0, -4.0]), (Measured(max_c=31.0), [11.0, 1.0])]
)
def test_one_extreme_shifts_each_journey(measured: Measured, shifts: list[float]) -> None:
    np.testing.assert_allclose(agreeing(AIR, HOURS, measured) - AIR, np.broadcast_to(shifts, AIR.shape))


def test_extremes_stretch_each_journey() -> None:
    """From 10 to 20 on 0 to 40: four times as far from 10. From 12 to 30 on the same: 16 is two ninths of the way."""
    agreed = agreeing(AIR, HOURS, Measured(min_c=0.0, max_c=40.0))
    np.testing.assert_allclose(agreed[:3, 0], [0.0, 40.0, 32.0])
    np.testing.assert_allclose(agreed[:, 1], [0.0, 80.0 / 9.0, 40.0, 200.0 / 9.0])


def test_mean_and_minimum_stretch_each_journey_about_its_mean() -> None:
    """The first journey's mean is 16, 6 above its minimum: at 20 and 8, every deviation doubles."""
    agreed = agreeing(AIR, HOURS, Measured(mean_c=20.0, min_c=8.0))
    np.testing.assert_allclose(agreed[:3, 0], [8.0, 28.0, 24.0])


@given(
    st.lists(st.floats(-5, 40), min_size=3, max_size=40),
    st.floats(-10, 30),
    st.floats(2, 30),
    st.floats(0.3, 0.7),
)
def test_all_that_was_measured_is_met_and_order_is_kept(air: list[float], low: float, span: float, part: float) -> None:
    inside = np.array(air)[:, None]
    hours = np.ones_like(inside)
    measured = Measured(low + part * span, low, low + span)
    agreed = agreeing(inside, hours, measured)
    if np.ptp(inside) > 0.02:
        assert agreed.min() == pytest.approx(low)
        assert agreed.max() == pytest.approx(low + span)
        assert (np.diff(agreed[np.argsort(inside[:, 0], kind="stable"), 0]) >= -1e-9).all()
        # Hours at an extreme stay there, so not every mean can be met: the nearest that a power from 1/50 to 50 gives.
        place = (inside - inside.min()) / np.ptp(inside)
        nearest = np.clip(part, (place**50.0).mean(), (place**0.02).mean())
        assert agreed.mean() == pytest.approx(low + nearest * span, abs=1e-3)


def test_course_without_a_span_takes_all_temperatures_evenly() -> None:
    agreed = agreeing(np.full((4, 1), 20.0), np.ones((4, 1)), Measured(min_c=10.0, max_c=30.0))
    np.testing.assert_allclose(agreed[:, 0], [12.5, 17.5, 22.5, 27.5])


def test_constant_air_that_was_measured_is_constant() -> None:
    np.testing.assert_allclose(agreeing(AIR, HOURS, Measured(21.0, 21.0, 21.0)), 21.0)


def test_hours_weigh() -> None:
    """Two hours at 10 and one at 25: the mean is 15."""
    agreed = agreeing(np.array([[10.0], [25.0]]), np.array([[2.0], [1.0]]), Measured(mean_c=16.0))
    np.testing.assert_allclose(agreed[:, 0], [11.0, 26.0])
