"""A seller's claim window: from when it runs, and when it ends."""

from collections.abc import Mapping
from datetime import UTC, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from app.store import ShipmentLife
from model.reference import CONSTANTS


def counted_from(life: ShipmentLife, zone: ZoneInfo) -> datetime:
    """Return from when a seller's window runs: delivery, or the start of the day of arrival where that is all we know.

    No claim is then late. `life` is that of an arrived shipment, `zone` the destination's.
    """
    assert life.stored.record.arrival_date is not None  # noqa: S101 - an arrived shipment has one
    return life.arrived_at or datetime.combine(life.stored.record.arrival_date, time(), tzinfo=zone)


def window_hours(recourse: Mapping[str, Any]) -> float | None:
    """Return the window that a plan's recourse gives; None where it says nothing of it, or that it is not known."""
    hours: float | None = recourse.get("claim_window_hours")
    return hours


def claim_until(start: datetime, hours: float | None) -> datetime:
    """Return the end of a window of so many hours, in the zone of its start; None: as long as is most common.

    A window that nobody knows has an end too, the same one wherever it is told: without one the claim would stand in no
    list and no calendar, and most sellers take none after it. Whoever tells it says that the seller's own terms count.

    Hours run on whatever the clocks do: added in universal time, shown in local time.
    """
    length = CONSTANTS.claim_window_h if hours is None else hours
    return (start.astimezone(UTC) + timedelta(hours=length)).astimezone(start.tzinfo)
