"""Constant temperatures of many lines against the plain form of the rate."""

import numpy as np
import pytest

from model.exposure.constant import ColdDraws, beyond_warm, is_plain, log_factor_per_c
from model.exposure.damage import ClockDraws, chill_rate, damage_rate

RNG = np.random.default_rng(7)
N_DRAWS = 300
CLOCK = ClockDraws(
    log_q10=np.log(1.0 + np.exp(RNG.normal(0.0, 0.4, N_DRAWS))),
    threshold_c=RNG.normal([[5.0], [12.0]], 2.0, (2, N_DRAWS)),
    chill_per_day_c=np.exp(RNG.normal(-1.5, 1.0, (2, N_DRAWS))),
)


@pytest.mark.parametrize("genus", [0, 1])
def test_rates_are_those_of_the_plain_form(genus: int) -> None:
    """From hard frost to heat that kills."""
    inside = np.linspace(-40.0, 60.0, 201)
    cold, log_q1 = ColdDraws.of(CLOCK, genus), log_factor_per_c(CLOCK)
    rows = (np.broadcast_to(row, (len(inside), N_DRAWS)) for row in cold[:3])
    beyond, chill = beyond_warm(inside, log_q1, *rows)
    own = ClockDraws(CLOCK.log_q10, CLOCK.threshold_c[genus], CLOCK.chill_per_day_c[genus])
    rate = np.exp(beyond + (inside[:, None] - 20.0) * log_q1)
    np.testing.assert_allclose(rate, damage_rate(inside[:, None], own), rtol=2e-5)
    np.testing.assert_allclose(chill, chill_rate(inside[:, None], own), rtol=2e-5, atol=1e-5)
    plain = is_plain(inside, np.full(len(inside), cold.warmest_threshold_c))
    assert 0 < plain.sum() < len(inside)
    assert not beyond[plain].any()
    assert not chill[plain].any()
    assert (np.abs(beyond[~plain]).max(axis=1) > 0.0).all()
