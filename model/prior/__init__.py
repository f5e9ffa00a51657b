"""Rules of thumb -> prior distribution.

A rule is a row of the tables; how rules become a prior stands here alone.
"""

from model.prior.priors import (
    BLOCK,
    CENTRAL_80,
    CommonParameters,
    ParameterDraws,
    PriorError,
    PriorTable,
    draw_prior,
    rule_shares,
    solve_prior,
    stratified_normals,
)

__all__ = [
    "BLOCK",
    "CENTRAL_80",
    "CommonParameters",
    "ParameterDraws",
    "PriorError",
    "PriorTable",
    "draw_prior",
    "rule_shares",
    "solve_prior",
    "stratified_normals",
]
