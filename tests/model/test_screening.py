"""Densities of what is recorded: against scipy's, and against the sums that they must have."""

from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate, stats

from model.reference.constants import CONSTANTS
from model.screening.evidence import (
    BOXES_THAT_MAY_SLIP,
    LONGEST_DAYS,
    T_DEGREES,
    log_days_chance,
    log_temperature_density,
    log_uniform_counts,
    slip_chances,
)

Array = NDArray[np.float64]
JOURNEYS = np.array([10.0, 12.0, 15.0, 19.0])


def test_temperature_is_students_t_about_the_journeys() -> None:
    scale = np.hypot(JOURNEYS.std(), CONSTANTS.journey_mean_sd_c)
    for logged in (-5.0, 14.0, 55.0):
        expected = stats.t.logpdf(logged, T_DEGREES, JOURNEYS.mean(), scale)
        assert log_temperature_density(logged, JOURNEYS) == pytest.approx(float(expected))


def test_fahrenheit_undone_is_a_density_of_what_was_written() -> None:
    """The density of the number in °F is that of °C times 5/9: it adds up to 1 over all that could be written."""
    total, _ = integrate.quad(
        lambda f: np.exp(log_temperature_density((f - 32.0) / 1.8, JOURNEYS)) / 1.8, -800.0, 900.0, points=[57.2]
    )
    assert total == pytest.approx(1.0, abs=1e-4)


def few_days(days: Array) -> Array:
    """Return log P(T > days) of a gamma with mean 6 and sd 2, as of an invented service."""
    return stats.gamma.logsf(days, 9.0, scale=6.0 / 9.0)


def test_days_without_other_boxes_are_the_tables() -> None:
    odd = CONSTANTS.odd_wait_share
    middle = float(stats.gamma.cdf(6.5, 9.0, scale=6.0 / 9.0) - stats.gamma.cdf(5.5, 9.0, scale=6.0 / 9.0))
    expected = np.log((1.0 - odd) * middle + odd / LONGEST_DAYS)
    assert log_days_chance(6.0, few_days, np.empty(0)) == pytest.approx(expected)
    far = log_days_chance(36.0, few_days, np.empty(0))
    assert far == pytest.approx(np.log(odd / LONGEST_DAYS), abs=1e-3)


def test_own_boxes_speak_from_the_third_alike_on() -> None:
    alone = log_days_chance(36.0, few_days, np.full(10, 6.0))
    two = np.array([*np.full(8, 6.0), 36.0, 36.5])
    assert log_days_chance(36.0, few_days, two) == pytest.approx(alone, abs=0.01)
    many = log_days_chance(36.0, few_days, np.full(10, 36.0))
    assert BOXES_THAT_MAY_SLIP == 2.0
    # 8 of 10 beyond the two, against ten boxes that the table is worth: (8 x 0.097) / 18 within half a day.
    kernel = 1.0 / ((0.1 * 36.0 + 0.5) * np.sqrt(2.0 * np.pi))
    assert many == pytest.approx(np.log(8.0 * kernel / 18.0), abs=0.01)


@pytest.mark.parametrize("sent", [(3,), (2, 3), (1, 2, 2)])
def test_counts_that_may_be_anything_add_up_to_one(sent: tuple[int, ...]) -> None:
    def compositions(n: int) -> list[tuple[int, int, int]]:
        return [(h, m, n - h - m) for h in range(n + 1) for m in range(n + 1 - h)]

    total = sum(np.exp(log_uniform_counts(np.array(lines, dtype=float))) for lines in product(*map(compositions, sent)))
    assert total == pytest.approx(1.0)


def test_one_line_that_may_be_anything_has_every_composition_alike() -> None:
    """4 plants in three states: 15 compositions (stars and bars)."""
    assert np.exp(log_uniform_counts(np.array([[4.0, 0.0, 0.0]]))) == pytest.approx(1.0 / 15.0)
    assert np.exp(log_uniform_counts(np.array([[1.0, 2.0, 1.0]]))) == pytest.approx(1.0 / 15.0)


def test_chances_are_by_bayes_rule() -> None:
    """0.98 x 0.001 against 0.02 x 0.5: 0.00098 to 0.01."""
    chances = slip_chances(np.log([0.98 * 0.001, 0.02 * 0.5]))
    np.testing.assert_allclose(chances, [0.00098 / 0.01098, 0.01 / 0.01098])
