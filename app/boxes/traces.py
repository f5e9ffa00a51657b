"""The trace of a logger in the box: read, checked against the journey, averaged."""

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

from app.boxes.trace_csv import parse_trace
from app.problems import FieldError, json_pointer
from app.schemas import ArrivalRequest
from app.store import Reading

MAX_GAP = timedelta(hours=6)
MAX_GAP_WORDS = "6 h"


class Trace(NamedTuple):
    """Readings in the order given, and where the fault of one is said to be."""

    readings: Sequence[Reading]
    place: Callable[[int, str, str], FieldError]


def given_trace(asked: ArrivalRequest) -> Trace:
    """Return the trace of an arrival, empty without one.

    Raises
    ------
    InvalidInput
        If the CSV text is no trace.
    """
    if asked.logger_csv is not None:
        rows = parse_trace(asked.logger_csv)
        numbers = [row.number for row in rows]

        def in_file(i: int, column: str, message: str) -> FieldError:
            return FieldError("/logger_csv", message, numbers[i], column)

        return Trace([row.reading for row in rows], in_file)

    def in_list(i: int, field: str, message: str) -> FieldError:
        return FieldError(json_pointer(("logger", i, field)), message)

    return Trace([Reading(one.at, one.inside_c) for one in asked.logger or ()], in_list)


def trace_faults(trace: Trace, begins: datetime, opened_at: datetime) -> list[FieldError]:
    """Return what is wrong with a trace, reading by reading.

    Times rise strictly, no two neighbours are more than 6 h apart, and all lie between the departure (or the beginning
    of its day, where its time is not known) and the opening.
    """
    faults = []
    previous: datetime | None = None
    for i, (at, _) in enumerate(trace.readings):
        message = None
        if previous is not None and at <= previous:
            message = "must be later than the reading before it"
        elif previous is not None and at - previous > MAX_GAP:
            message = (
                f"must be at most {MAX_GAP_WORDS} after the reading before it: with a longer gap give the mean "
                "instead, as inside_temp_c, and the lowest and highest, as inside_min_c and inside_max_c"
            )
        elif at < begins:
            message = "is before the departure: leave out what the logger saw before it, or correct departed_at"
        elif at > opened_at:
            message = "is after the opening: leave out what the logger saw after it, or correct opened_at"
        if message is not None:
            faults.append(trace.place(i, "at", message))
        previous = at
    return faults


def time_weighted_mean(readings: Sequence[Reading]) -> float:
    """Return the mean of a trace over its time, straight lines between readings, °C."""
    if len(readings) == 1:
        return readings[0].inside_c
    pairs = list(pairwise(readings))
    seconds = [(b.at - a.at).total_seconds() for a, b in pairs]
    means = [(a.inside_c + b.inside_c) / 2.0 for a, b in pairs]
    return sum(s * mean for s, mean in zip(seconds, means, strict=True)) / sum(seconds)


def covered_share(readings: Sequence[Reading], departed_at: datetime, opened_at: datetime) -> float:
    """Return the share of a journey that a trace within it covers."""
    whole = (opened_at - departed_at).total_seconds()
    return (readings[-1].at - readings[0].at).total_seconds() / whole if whole > 0 else 1.0
