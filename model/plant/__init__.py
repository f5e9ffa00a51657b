"""What a prediction is about: a plant as packed and sent, its effects with their prior sds, its two hazards.

A new kind of effect begins here.
"""

from model.plant.effects import (
    DEGREES,
    LEARNED_SCALES,
    REFERENCE_KAPPA,
    SCALE_OF_KIND,
    STUDENT_SCALE,
    TABULATED_KINDS,
    deviations,
    prior_sd,
    total_spread,
    unit_sd,
)
from model.plant.hazard import (
    DEAD_SHARE_OF_SPOILT,
    REFERENCE_DAYS,
    SPOILT_DEATH_OFFSET,
    chances,
    clock_hazards,
    cumulative_hazards,
    damage_hazards,
    log_clock_hazards,
    log_cumulative_hazard,
    relative_log_days,
    spoilt_hazards,
    time_predictor,
)
from model.plant.plant import DRIFT_CORRELATION, KINDS, UNNAMED, Level, Plant, drift_quarters, nearest_drift
from model.plant.time_ratio import log_time_ratio

__all__ = [
    "DEAD_SHARE_OF_SPOILT",
    "DEGREES",
    "DRIFT_CORRELATION",
    "KINDS",
    "LEARNED_SCALES",
    "REFERENCE_DAYS",
    "REFERENCE_KAPPA",
    "SCALE_OF_KIND",
    "SPOILT_DEATH_OFFSET",
    "STUDENT_SCALE",
    "TABULATED_KINDS",
    "UNNAMED",
    "Level",
    "Plant",
    "chances",
    "clock_hazards",
    "cumulative_hazards",
    "damage_hazards",
    "deviations",
    "drift_quarters",
    "log_clock_hazards",
    "log_cumulative_hazard",
    "log_time_ratio",
    "nearest_drift",
    "prior_sd",
    "relative_log_days",
    "spoilt_hazards",
    "time_predictor",
    "total_spread",
    "unit_sd",
]
