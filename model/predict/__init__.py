"""Posterior draws -> chances at unboxing and two weeks on, and what they rest on; the server needs no more.

No linear algebra, no scikit-learn: those belong to the fit.
"""

from model.predict.evidence import BoxCounts, Counts, FitVariance, LevelCounts, Terms
from model.predict.late_loss import KeptChances, LateLossDraws, Rechecks, draw_late_loss, learn_late_loss
from model.predict.predict import (
    MarginalChances,
    PlantEffects,
    PosteriorDraws,
    box_chances,
    clock_draws,
    draw_prior_posterior,
    genus_effects,
    linear_predictor,
    node_order,
    plant_effects,
    sending_effects,
    tabulated_cold,
    with_effects,
)
from model.predict.resampled import added_counts, resampled_draws, with_levels

__all__ = [
    "BoxCounts",
    "Counts",
    "FitVariance",
    "KeptChances",
    "LateLossDraws",
    "LevelCounts",
    "MarginalChances",
    "PlantEffects",
    "PosteriorDraws",
    "Rechecks",
    "Terms",
    "added_counts",
    "box_chances",
    "clock_draws",
    "draw_late_loss",
    "draw_prior_posterior",
    "genus_effects",
    "learn_late_loss",
    "linear_predictor",
    "node_order",
    "plant_effects",
    "resampled_draws",
    "sending_effects",
    "tabulated_cold",
    "with_effects",
    "with_levels",
]
