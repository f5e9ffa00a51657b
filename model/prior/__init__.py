"""Rules of thumb -> prior distribution.

A rule is a row of the tables; how rules become a prior stands here alone.
"""

from model.prior.priors import (
    BLOCK,
    CENTRAL_80,
    LEARNED_SCALES,
    REFERENCE_DAYS,
    REFERENCE_KAPPA,
    SPOILT_DEATH_OFFSET,
    CommonParameters,
    ParameterDraws,
    PriorError,
    PriorTable,
    draw_prior,
    log_cumulative_hazard,
    rule_shares,
    solve_prior,
    stratified_normals,
    total_spread,
)

__all__ = [
    "BLOCK",
    "CENTRAL_80",
    "LEARNED_SCALES",
    "REFERENCE_DAYS",
    "REFERENCE_KAPPA",
    "SPOILT_DEATH_OFFSET",
    "CommonParameters",
    "ParameterDraws",
    "PriorError",
    "PriorTable",
    "draw_prior",
    "log_cumulative_hazard",
    "rule_shares",
    "solve_prior",
    "stratified_normals",
    "total_spread",
]
