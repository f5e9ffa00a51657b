"""What a prediction is about: a plant as it is packed and sent, and the levels of its effects.

A new kind of effect begins here.
"""

from model.plant.plant import DRIFT_CORRELATION, KINDS, UNNAMED, Level, Plant, drift_quarters, nearest_drift
from model.plant.time_ratio import log_time_ratio, unknown_genus

__all__ = [
    "DRIFT_CORRELATION",
    "KINDS",
    "UNNAMED",
    "Level",
    "Plant",
    "drift_quarters",
    "log_time_ratio",
    "nearest_drift",
    "unknown_genus",
]
