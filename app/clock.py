"""The clock of the service: the only place that asks the computer for the date."""

from datetime import UTC, datetime


def moment(fixed: datetime | None = None) -> datetime:
    """Return now, in UTC: `fixed` where the setting ``TRANSIT_NOW`` gives it, else what the computer says.

    What measures time gone by, as the lease of a refit does, or puts things in the order in which they came gives no
    `fixed`: a clock that stands still can do neither.
    """
    return datetime.now(UTC) if fixed is None else fixed.astimezone(UTC)
