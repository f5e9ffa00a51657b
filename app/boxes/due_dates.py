"""Until when a box waits for what: its claim, and its arrival."""

import json
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from app.boxes.claim_window import claim_until, counted_from, window_hours
from app.boxes.shipment_answer import missing_plants
from app.store import ARRIVED, SellerRecord, ShipmentLife

NOTHING_GIVEN = "none"


def expected_by(departed_at: datetime | None, forecast_json: str | None) -> datetime | None:
    """Return the moment by which 9 in 10 such boxes are open, by the forecast of the plan; None where it has no such.

    The time in transit runs from the departure as recorded, as in `model.transit`.
    """
    if departed_at is None or forecast_json is None:
        return None
    days: float = json.loads(forecast_json)["transit_days"]["p90"]
    return (departed_at + timedelta(days=days)).replace(microsecond=0)


def late_since(expected: datetime | None, at: datetime) -> datetime | None:
    """Return since when a box on its way is late at a moment; None where it is not."""
    return expected if expected is not None and expected < at else None


def may_be_claimed(life: ShipmentLife) -> bool:
    """Whether plants of an arrived box are dead or missing, and nothing is recorded of a claim."""
    if life.stored.state != ARRIVED or life.claim_outcome is not None:
        return False
    lines = zip(life.stored.record.lines, life.ordered, strict=True)
    return any(line.dead or missing_plants(line, ordered) for line, ordered in lines)


def claim_due(
    life: ShipmentLife, plan_json: str | None, seller: SellerRecord | None, zone: ZoneInfo
) -> datetime | None:
    """Return the end of the seller's window of a box that `may_be_claimed`; None where the seller gives nothing.

    Parameters
    ----------
    life : ShipmentLife
    plan_json : str or None
        Its plan; None for a box taken from a file. Without a window in it, the most common one counts.
    seller : SellerRecord or None
        What is recorded of the seller, whose usual recourse counts where the plan says nothing of it.
    zone : ZoneInfo
        Of the destination.
    """
    recourse = json.loads(plan_json or "{}").get("recourse", {})
    kind = recourse.get("kind") or (None if seller is None else seller.details.recourse)
    if kind == NOTHING_GIVEN:
        return None
    return claim_until(counted_from(life, zone).astimezone(zone), window_hours(recourse))
