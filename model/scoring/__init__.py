"""Forecasts against what was found: scores, calibration, hazards of a box as a common factor.

Pure functions of arrays.
"""

from model.scoring.calibration import (
    CountRange,
    central_range,
    coverage,
    paired_mean,
    pit_histogram,
    reliability,
    successes,
)
from model.scoring.hazard_factors import HazardFactors, join_boxes, split_hazards
from model.scoring.predictive_checks import EXTREME, Check, is_extreme, predictive_check
from model.scoring.scoring import UNKNOWN, brier_score, drawn_counts, log_scores

__all__ = [
    "EXTREME",
    "UNKNOWN",
    "Check",
    "CountRange",
    "HazardFactors",
    "brier_score",
    "central_range",
    "coverage",
    "drawn_counts",
    "is_extreme",
    "join_boxes",
    "log_scores",
    "paired_mean",
    "pit_histogram",
    "predictive_check",
    "reliability",
    "split_hazards",
    "successes",
]
