"""The trace of a logger in the box: checked, averaged."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise

from app.store.shipment_life import Reading

MAX_GAP = timedelta(hours=6)


def time_weighted_mean(trace: Sequence[Reading]) -> float:
    """Return the mean of a trace over its time, straight lines between readings, °C."""
    if len(trace) == 1:
        return trace[0].inside_c
    hours = [(b.at - a.at).total_seconds() for a, b in pairwise(trace)]
    heat = [h * (a.inside_c + b.inside_c) / 2.0 for h, (a, b) in zip(hours, pairwise(trace), strict=True)]
    return sum(heat) / sum(hours)


def covered_share(trace: Sequence[Reading], departed_at: datetime, opened_at: datetime) -> float:
    """Return the share of a journey that a trace within it covers."""
    whole = (opened_at - departed_at).total_seconds()
    return (trace[-1].at - trace[0].at).total_seconds() / whole if whole > 0 else 1.0
