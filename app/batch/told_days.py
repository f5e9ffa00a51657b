"""Days of the last journeys that a buyer remembers: they update the usual times by the learner of recorded boxes."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from model.transit import (
    Delay,
    TransitQuantiles,
    TransitRecord,
    learn_transit,
    solve_transit,
)

# Days are told in whole ones, as a difference of dates is.
TOLD_ROUNDING_DAYS = 1.0


def told_words(days: Sequence[float]) -> str:
    """Return the days as they were told."""
    return f"told: {', '.join(f'{one:g}' for one in days)} {'day' if tuple(days) == (1.0,) else 'days'}"


@lru_cache(maxsize=256)
def updated_by(
    quantiles: TransitQuantiles,
    delay: Delay,
    minimum_days: float,
    days: tuple[float, ...],
    *,
    known_boxes: int = 0,
    lane_scale: float = 1.0,
) -> tuple[TransitQuantiles, Delay]:
    """Return the times on a lane and its delays, given that the last boxes took so many days.

    Parameters
    ----------
    quantiles : TransitQuantiles
        What is known without them, on a long lane where `lane_scale` is below 1.
    delay : HoldDelay or MissedFlights
    minimum_days : float
    days : tuple of float
        Of boxes whose dates are not known.
    known_boxes : int
        Own boxes of the lane that `quantiles` were learned from.
    lane_scale : float
        What part of the days the lane takes.
    """
    base = solve_transit(quantiles, delay, minimum_days).transit
    n = len(days)
    record = TransitRecord(
        np.array(days), np.zeros(n), np.ones(n, dtype=bool), np.zeros(n, dtype=np.intp), TOLD_ROUNDING_DAYS
    )
    learned = learn_transit(base, record, np.array([lane_scale]), known_boxes=known_boxes)
    p10, p50, p90 = learned.lane_quantiles[0].tolist()
    # Where the times left no room for delays, none were learned of.
    late = base.delay.learned(learned.delay_share, learned.delay_size, learned.again_share)
    return TransitQuantiles(p10, p50, p90), late
