"""The two cumulative hazards of a plant in a box: the one home of H_loss, H_death and what time adds to eta.

    eta = effects + kappa (log(D / 7) - log TR0)
    H_loss  = h0 + a                              P(healthy) = exp(-H_loss)
    H_death = h0 exp(-d0) + a exp(-delta)         P(dead) = 1 - exp(-H_death)

a = exp(eta) is the clock's hazard, h0 that of being spoilt at packing or by handling, delta > 0. Two ordered events on
one clock (grouped proportional hazards: Prentice & Gloeckler 1978): H_death never exceeds H_loss. D is the box's
equivalent days, TR0 the tables' time ratio.
"""

import numpy as np
from numpy.typing import NDArray

from model.reference import CONSTANTS

Array = NDArray[np.float64]

# Of the plants spoilt at packing, exp(-d0) die before unboxing.
SPOILT_DEATH_OFFSET = CONSTANTS.spoilt_death_offset
DEAD_SHARE_OF_SPOILT = float(np.exp(-SPOILT_DEATH_OFFSET))
# Effects are told at so many equivalent days, and there kappa has no part.
REFERENCE_DAYS = 7.0
_LOG_REFERENCE_DAYS = float(np.log(REFERENCE_DAYS))


def relative_log_days(log_days: Array, log_time_ratio: Array | float = 0.0, *, out: Array | None = None) -> Array:
    """Return log(D / 7) - log TR0, which is also the slope of eta in kappa; shapes broadcast to that of log D.

    With `out` (`log_days` itself may be it) nothing is allocated.
    """
    relative: Array = np.subtract(log_days, _LOG_REFERENCE_DAYS, out=out)
    relative -= log_time_ratio
    return relative


def time_predictor(
    kappa: Array | float, log_days: Array, log_time_ratio: Array | float = 0.0, *, out: Array | None = None
) -> Array:
    """Return kappa (log(D / 7) - log TR0), what time adds to eta; shapes and `out` as in `relative_log_days`."""
    relative = relative_log_days(log_days, log_time_ratio, out=out)
    return np.multiply(kappa, relative, out=out)


def clock_hazards(a: Array, delta: Array | float) -> tuple[Array, Array]:
    """Return the clock's part of H_loss and of H_death, which is also their slope in eta; shapes broadcast."""
    return a, a * np.exp(-delta)


def log_clock_hazards(eta: Array, delta: Array) -> tuple[Array, Array]:
    """Return the logarithms of `clock_hazards` for a = exp(eta)."""
    return eta, eta - delta


def spoilt_hazards(
    h0: Array | float, dead_share: Array | float = DEAD_SHARE_OF_SPOILT
) -> tuple[Array | float, Array | float]:
    """Return the part of H_loss and of H_death of plants spoilt at packing; `dead_share` is exp(-d0)."""
    return h0, h0 * dead_share


def cumulative_hazards(
    a: Array, delta: Array | float, h0: Array | float, dead_share: Array | float = DEAD_SHARE_OF_SPOILT
) -> tuple[Array, Array]:
    """Return H_loss and H_death; shapes broadcast."""
    by_clock, spoilt = clock_hazards(a, delta), spoilt_hazards(h0, dead_share)
    return spoilt[0] + by_clock[0], spoilt[1] + by_clock[1]


def damage_hazards(a: Array, delta: Array | float, h0: Array | float) -> tuple[Array, Array | float]:
    """Return the clock's and the spoilt part of H_loss - H_death, without cancellation for small delta."""
    return a * -np.expm1(-delta), h0 * (1.0 - DEAD_SHARE_OF_SPOILT)


def chances(loss: Array, death: Array) -> tuple[Array, Array]:
    """Return P(healthy) and P(dead) of cumulative hazards H_loss and H_death."""
    return np.exp(-loss), -np.expm1(-death)


def log_cumulative_hazard(share: Array, dead: NDArray[np.bool_]) -> Array:
    """Return log H_loss of a share healthy, or log H_death of a share dead where `dead`."""
    value: Array = np.log(-np.log(np.where(dead, 1.0 - share, share)))
    return value
