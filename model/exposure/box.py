"""Outside air -> air in the box: a first-order response with a heat pack or cold packs.

C dT/dt = UA (T_out - T) + P, stepped exactly while outside air and power stay constant within a step.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from model.reference import CONSTANTS

Array = NDArray[np.float64]

SECONDS_PER_HOUR = 3600.0
INSIDE_FILM_M2K_PER_W = CONSTANTS.inside_film_m2k_per_w
OUTSIDE_FILM_M2K_PER_W = CONSTANTS.outside_film_m2k_per_w
PACK_HEAT_J = CONSTANTS.pack_iron_g * CONSTANTS.iron_heat_j_per_g
PACK_FREEZES_C = CONSTANTS.pack_freezes_c
MOST_RISE_C = CONSTANTS.pack_most_rise_c
# Melting ice takes 334 kJ/kg, warming its water 4.19 kJ/kg.K.
COLD_PACK_J = CONSTANTS.cold_pack_ice_kg * (334_000.0 + 4_190.0 * CONSTANTS.cold_pack_spent_c)
COLD_PACK_MOST_COOLING_C = CONSTANTS.cold_pack_most_cooling_c


def conductance_w_per_k(
    length_m: float, width_m: float, height_m: float, wall_m: float, conductivity_w_per_mk: float
) -> float:
    """Return UA of a box from its outer size, W/K: area of the mid-wall over the wall's and both films' resistance."""
    mid = [side - wall_m for side in (length_m, width_m, height_m)]
    if min(mid) <= 0 or wall_m <= 0 or conductivity_w_per_mk <= 0:
        raise ValueError("a box needs walls thinner than its sides and a positive conductivity")
    area_m2 = 2.0 * (mid[0] * mid[1] + mid[0] * mid[2] + mid[1] * mid[2])
    resistance = wall_m / conductivity_w_per_mk + INSIDE_FILM_M2K_PER_W + OUTSIDE_FILM_M2K_PER_W
    return area_m2 / resistance


@dataclass(frozen=True, slots=True)
class Box:
    """A packed box.

    Attributes
    ----------
    ua_w_per_k, heat_capacity_j_per_k : float
    heat_pack_hours : float
        Rating of one pack; each gives its iron's heat evenly over that time, then nothing.
    heat_packs, cold_packs : int
    """

    ua_w_per_k: float
    heat_capacity_j_per_k: float
    heat_pack_hours: float = 0.0
    heat_packs: int = 0
    cold_packs: int = 0

    @property
    def time_constant_h(self) -> float:
        """Hours until a step outside has come through to 63 %."""
        return self.heat_capacity_j_per_k / self.ua_w_per_k / SECONDS_PER_HOUR

    @property
    def heat_pack_w(self) -> float:
        """Power of all heat packs while they last, W."""
        if self.heat_packs == 0 or self.heat_pack_hours == 0:
            return 0.0
        return self.heat_packs * PACK_HEAT_J / (self.heat_pack_hours * SECONDS_PER_HOUR)

    @property
    def cooling_w(self) -> float:
        """Power that cold packs take while they last, W: enough for the most cooling seen, 8 °C below outside."""
        return COLD_PACK_MOST_COOLING_C * self.ua_w_per_k if self.cold_packs else 0.0

    @property
    def cooling_hours(self) -> float:
        """Hours until the cold packs are spent."""
        if not self.cold_packs:
            return 0.0
        return self.cold_packs * COLD_PACK_J / (self.cooling_w * SECONDS_PER_HOUR)

    def decay(self, hours: float = 1.0) -> float:
        """Return the share of a difference that is left after `hours`."""
        return float(np.exp(-hours / self.time_constant_h))

    def rises_c(self, hours: int) -> tuple[Array, Array]:
        """Return the steady rise over outside air from heat packs and from cold packs, °C, a mean for each hour."""
        hour = np.arange(hours)
        warming = min(self.heat_pack_w / self.ua_w_per_k, MOST_RISE_C)
        cooling = self.cooling_w / self.ua_w_per_k
        return (
            warming * np.clip(self.heat_pack_hours - hour, 0.0, 1.0),
            -cooling * np.clip(self.cooling_hours - hour, 0.0, 1.0),
        )


def step_inside(inside_c: Array, outside_c: Array, rise_c: Array | float, decay: float) -> Array:
    """Return the temperature inside at the end of a step of constant outside air; exact.

    Parameters
    ----------
    inside_c, outside_c : (draws,)
        Inside at the start of the step, outside during it.
    rise_c : float or (draws,)
        P / UA during the step.
    decay : float
        exp(-step / time constant).
    """
    steady = outside_c + rise_c
    stepped: Array = steady + (inside_c - steady) * decay
    return stepped


def mean_weight(time_constant_h: float) -> float:
    """Return w of the exact mean over an hour of constant outside air: steady + w x (inside at its start - steady)."""
    return float(time_constant_h * -np.expm1(-1.0 / time_constant_h))


def inside_air(outside_c: Array, box: Box, start_c: Array | float) -> Array:
    """Return hourly temperatures inside at the end of each hour.

    Parameters
    ----------
    outside_c : (hours,) or (hours, draws)
        Outside air, constant within each hour.
    start_c : float or (draws,)
        Temperature inside when the box is closed.

    Returns
    -------
    (hours,) or (hours, draws)
        A heat pack stops for good when it freezes (0 °C inside).
    """
    inside = np.empty_like(outside_c)
    now = np.broadcast_to(np.asarray(start_c, dtype=float), outside_c.shape[1:]).copy()
    decay, working = box.decay(), np.ones(outside_c.shape[1:], dtype=bool)
    warming, cooling = box.rises_c(len(outside_c))
    for hour in range(outside_c.shape[0]):
        working &= now > PACK_FREEZES_C
        now = step_inside(now, outside_c[hour], cooling[hour] + working * warming[hour], decay)
        inside[hour] = now
    return inside
