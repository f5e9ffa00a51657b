"""Outside air -> air in the box -> equivalent days: weather, box, legs, thermal clock, tracking notes.

Nothing here knows of survival or money.
"""

from model.exposure.box import Box, conductance_w_per_k, inside_air
from model.exposure.climate import (
    LAPSE_C_PER_M,
    Forecast,
    PlaceWeather,
    daily_swing,
    interpolate_months,
    month_position,
    place_weather,
)
from model.exposure.constant import ColdDraws, beyond_warm, is_plain, log_factor_per_c
from model.exposure.damage import ClockDraws, log_warm_rate
from model.exposure.fixed_time import FixedTimeJourneys, damage_of_hours
from model.exposure.journey import DEFAULT_WAIT_H, Exposure, StreetAir, expose, leg_ends
from model.exposure.measured import Measured
from model.exposure.recorded import (
    binned_degrees_below,
    binned_rates,
    journey_bins,
    log_days,
    mean_of_bins,
    trace_bins,
)
from model.exposure.table import CHILL_NODES, Q10_NODES, Array, ExposureTable, Indices, constant_log_days
from model.exposure.tracking import HELD, RELEASED, Tracked, share_ahead, track, tracked_ends

__all__ = [
    "CHILL_NODES",
    "DEFAULT_WAIT_H",
    "HELD",
    "LAPSE_C_PER_M",
    "Q10_NODES",
    "RELEASED",
    "Array",
    "Box",
    "ClockDraws",
    "ColdDraws",
    "Exposure",
    "ExposureTable",
    "FixedTimeJourneys",
    "Forecast",
    "Indices",
    "Measured",
    "PlaceWeather",
    "StreetAir",
    "Tracked",
    "beyond_warm",
    "binned_degrees_below",
    "binned_rates",
    "conductance_w_per_k",
    "constant_log_days",
    "daily_swing",
    "damage_of_hours",
    "expose",
    "inside_air",
    "interpolate_months",
    "is_plain",
    "journey_bins",
    "leg_ends",
    "log_days",
    "log_factor_per_c",
    "log_warm_rate",
    "mean_of_bins",
    "month_position",
    "place_weather",
    "share_ahead",
    "trace_bins",
    "track",
    "tracked_ends",
]
