"""Arrived boxes -> posterior draws: likelihood, prior, mode, weights.

The server loads what scores boxes under draws; what fits is loaded when its name is first taken, by a refit's process.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from model.fit.box_predictive import box_log_likelihoods, box_log_predictive, log_lost_whole
from model.fit.leave_one_out import LeftOut, leave_one_out
from model.fit.likelihood import CountError
from model.fit.lines import CONSIGNMENT, LINE_DTYPE, Lines, Observed, observe
from model.fit.observations import Observations
from model.fit.pareto_smoothing import effective_draws
from model.fit.strays import RATES

if TYPE_CHECKING:
    from model.fit.evidence import count_boxes, fit_variance
    from model.fit.fitting import Fitted, fit_boxes
    from model.fit.inference import Posterior
    from model.fit.inner_mode import ConvergenceError
    from model.fit.kappa import KappaAtMode, kappa_at_mode, kappa_given
    from model.fit.replicates import replicated_counts
    from model.fit.reweighting import Reweighted, reweight
    from model.fit.sensitivities import prior_sensitivity
    from model.fit.survival import TransitSurvival

__all__ = [
    "CONSIGNMENT",
    "LINE_DTYPE",
    "RATES",
    "ConvergenceError",
    "CountError",
    "Fitted",
    "KappaAtMode",
    "LeftOut",
    "Lines",
    "Observations",
    "Observed",
    "Posterior",
    "Reweighted",
    "TransitSurvival",
    "box_log_likelihoods",
    "box_log_predictive",
    "count_boxes",
    "effective_draws",
    "fit_boxes",
    "fit_variance",
    "kappa_at_mode",
    "kappa_given",
    "leave_one_out",
    "log_lost_whole",
    "observe",
    "prior_sensitivity",
    "replicated_counts",
    "reweight",
]

# These need scikit-learn or sparse matrices, which the server does not load (PEP 562).
_OF_A_FIT = {
    "ConvergenceError": "inner_mode",
    "Fitted": "fitting",
    "KappaAtMode": "kappa",
    "Reweighted": "reweighting",
    "Posterior": "inference",
    "TransitSurvival": "survival",
    "count_boxes": "evidence",
    "fit_boxes": "fitting",
    "fit_variance": "evidence",
    "kappa_at_mode": "kappa",
    "kappa_given": "kappa",
    "prior_sensitivity": "sensitivities",
    "replicated_counts": "replicates",
    "reweight": "reweighting",
}


def __getattr__(name: str) -> Any:
    if name not in _OF_A_FIT:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_OF_A_FIT[name]}"), name)
