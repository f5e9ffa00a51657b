"""Arrived boxes -> posterior draws: likelihood, prior, mode, weights, and the estimator.

Only the process of a refit imports this room.
"""

from model.fit.evidence import count_boxes
from model.fit.hierarchy import ALPHA, DELTA, FIRST_EFFECT, KAPPA, Hierarchy
from model.fit.inner_mode import ConvergenceError, InnerMode
from model.fit.likelihood import CountError
from model.fit.lines import LINE_DTYPE, Lines, observe
from model.fit.observations import Observations
from model.fit.survival import TransitSurvival, box_log_predictive
from model.fit.target import Target

__all__ = [
    "ALPHA",
    "DELTA",
    "FIRST_EFFECT",
    "KAPPA",
    "LINE_DTYPE",
    "ConvergenceError",
    "CountError",
    "Hierarchy",
    "InnerMode",
    "Lines",
    "Observations",
    "Target",
    "TransitSurvival",
    "box_log_predictive",
    "count_boxes",
    "observe",
]
