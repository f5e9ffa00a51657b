"""The model that this process serves: engine, artefacts, versions, refits asked for and followed.

Neither fits a model nor resolves a batch.
"""

from app.serving import reference_lists
from app.serving.active_model import ActiveModel
from app.serving.artifacts import (
    FitRecord,
    FittedModel,
    from_artefact,
    package_version,
    to_artefact,
    with_left_out,
)
from app.serving.criticism import Criticism, LeftOutBox, LeftOutScores, PredictiveCheck, RestsOn
from app.serving.engine import PRIOR_SEED, STORED_DRAWS, Engine, rules_draws, rules_pool, rules_version
from app.serving.evidence import evidence_as_json
from app.serving.learned_times import LaneKey, LaneTimes, LearnedTimes
from app.serving.manifest import ArtefactError, DelayCheck
from app.serving.model_versions import activate, answer_versions, held_version, learn_by_itself
from app.serving.quick_update import QuickUpdate, Refused
from app.serving.refit_process import RefitProcesses
from app.serving.refits import find_refit, refit_answer, request_refit
from app.serving.self_learning import SelfLearning
from app.serving.seller_falls import NEWEST, SellerFalls
from app.serving.stored_fit import StoredFit, read_fit

__all__ = [
    "NEWEST",
    "PRIOR_SEED",
    "STORED_DRAWS",
    "ActiveModel",
    "ArtefactError",
    "Criticism",
    "DelayCheck",
    "Engine",
    "FitRecord",
    "FittedModel",
    "LaneKey",
    "LaneTimes",
    "LearnedTimes",
    "LeftOutBox",
    "LeftOutScores",
    "PredictiveCheck",
    "QuickUpdate",
    "RefitProcesses",
    "Refused",
    "RestsOn",
    "SelfLearning",
    "SellerFalls",
    "StoredFit",
    "activate",
    "answer_versions",
    "evidence_as_json",
    "find_refit",
    "from_artefact",
    "held_version",
    "learn_by_itself",
    "package_version",
    "read_fit",
    "reference_lists",
    "refit_answer",
    "request_refit",
    "rules_draws",
    "rules_pool",
    "rules_version",
    "to_artefact",
    "with_left_out",
]
