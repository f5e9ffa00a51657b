"""Journeys of a given time against the plain form, which follows each draw hour by hour."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from model.exposure import Box
from model.exposure.constant import ColdDraws, log_factor_per_c
from model.exposure.damage import ClockDraws
from model.exposure.fixed_time import FixedTimeJourneys, damage_of_hours
from model.exposure.journey import StreetAir, expose, leg_ends
from model.reference import load_reference

RNG = np.random.default_rng(3)
N_DRAWS, HOURS, DAYS = 200, 24 * 16, 18
LEGS = load_reference().legs["courier"]
BOX = Box(ua_w_per_k=0.3, heat_capacity_j_per_k=7_500.0)


def street(mean_c: float, first_hour: int) -> StreetAir:
    """Return invented air of a place."""
    at = first_hour + np.arange(HOURS)
    anomaly = np.cumsum(RNG.normal(0.0, 2.0, (DAYS, N_DRAWS)), axis=0)
    return StreetAir(np.full(HOURS, mean_c), 6.0 * np.sin(at * np.pi / 12.0), at // 24, anomaly)


STREETS = {"origin": street(30.0, 15), "hub": street(9.0, 8), "destination": street(3.0, 9)}
CLOCK = ClockDraws(
    log_q10=np.log(1.0 + np.exp(RNG.normal(0.0, 0.4, N_DRAWS))),
    threshold_c=RNG.normal(11.0, 2.0, (1, N_DRAWS)),
    chill_per_day_c=np.exp(RNG.normal(-1.5, 1.0, (1, N_DRAWS))),
)


def plainly(days: float, box: Box) -> tuple[NDArray[np.float64], NDArray[np.float64], bool]:
    ends = leg_ends(LEGS, np.full(N_DRAWS, days), added_days={})
    exposed = expose(LEGS, ends, STREETS, box, CLOCK)
    return exposed.equivalent_days[0], exposed.chill_dose_days[0], bool(exposed.pack_froze.any())


@pytest.mark.parametrize("days", [0.02, 0.6, 1.0, 3.37, 15.9])
@pytest.mark.parametrize("pack", [{}, {"heat_packs": 1, "heat_pack_hours": 30.0}, {"cold_packs": 2}])
def test_exposure_is_that_of_journeys_followed_one_by_one(days: float, pack: dict[str, float]) -> None:
    box = replace(BOX, **pack)  # type: ignore[arg-type]
    journeys = FixedTimeJourneys(LEGS, STREETS, box)
    log_q1, cold = log_factor_per_c(CLOCK), ColdDraws.of(CLOCK)
    inside = journeys.inside(days)
    equivalent, dose, froze = plainly(days, box)
    assert (inside is None) == froze
    if inside is not None:
        own = damage_of_hours(inside, 24.0 * days, log_q1, cold)
        np.testing.assert_allclose(own[0], equivalent, rtol=5e-5)
        np.testing.assert_allclose(own[1], dose, rtol=5e-5, atol=1e-5)


def test_a_heat_pack_that_freezes_is_left_to_the_plain_form() -> None:
    frost = {role: replace(air, mean_c=air.mean_c - 40.0) for role, air in STREETS.items()}
    box = replace(BOX, heat_packs=1, heat_pack_hours=72.0)
    assert FixedTimeJourneys(LEGS, frost, box).inside(6.0) is None
    assert FixedTimeJourneys(LEGS, frost, BOX).inside(6.0) is not None
