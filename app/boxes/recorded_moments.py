"""What is recorded as having happened may not lie ahead of the clock, but for a clock that is a little off."""

from collections.abc import Iterable
from datetime import datetime

from app.problems import FieldError
from app.records import MOST_AHEAD

AHEAD = "must not lie in the future: it is recorded as having happened"


def ahead_faults(moments: Iterable[tuple[str, datetime | None]], now: datetime) -> list[FieldError]:
    """Return a fault for each moment, by the pointer of its field, that is more than a day after now."""
    return [
        FieldError(pointer, AHEAD) for pointer, moment in moments if moment is not None and moment > now + MOST_AHEAD
    ]
