"""Arrived boxes -> posterior draws: likelihood, prior, mode, weights, and the estimator.

Only the process of a refit imports this room.
"""

from model.fit.evidence import count_boxes, fit_variance
from model.fit.inner_mode import ConvergenceError
from model.fit.kappa import KappaAtMode, kappa_at_mode, kappa_given
from model.fit.likelihood import CountError
from model.fit.lines import LINE_DTYPE, Lines, Observed, observe
from model.fit.observations import Observations
from model.fit.reweighting import Reweighted, reweight
from model.fit.survival import TransitSurvival, box_log_predictive

__all__ = [
    "LINE_DTYPE",
    "ConvergenceError",
    "CountError",
    "KappaAtMode",
    "Lines",
    "Observations",
    "Observed",
    "Reweighted",
    "TransitSurvival",
    "box_log_predictive",
    "count_boxes",
    "fit_variance",
    "kappa_at_mode",
    "kappa_given",
    "observe",
    "reweight",
]
