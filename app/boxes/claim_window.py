"""From when a seller's claim window runs."""

from datetime import datetime, time
from zoneinfo import ZoneInfo

from app.store import ShipmentLife


def counted_from(life: ShipmentLife, zone: ZoneInfo) -> datetime:
    """Return from when a seller's window runs: delivery, or the start of the day of arrival where that is all we know.

    No claim is then late. `life` is that of an arrived shipment, `zone` the destination's.
    """
    assert life.stored.record.arrival_date is not None  # noqa: S101 - an arrived shipment has one
    return life.arrived_at or datetime.combine(life.stored.record.arrival_date, time(), tzinfo=zone)
