"""The four clocks of a claim: the seller's window, the payment's protection, and the carrier's two.

Montreal Convention 1999 (air carriage between states): Article 31(2), damage of cargo in writing within 14 days of
receipt, delay within 21 days of the day on which it was placed at the receiver's disposal; Article 52, days are
calendar days. The day itself is not counted, so the last day is 14 or 21 days on.
"""

from datetime import UTC, date, timedelta
from zoneinfo import ZoneInfo

from app.batch import CARRIER, CLAIM_WINDOWS, SELLER
from app.boxes import claim_until, counted_from, window_hours
from app.schemas import Clock, Recourse
from app.store import ShipmentLife
from model.reference import CONSTANTS, Place

PAYMENT_SERVICE = "payment service"
OPERATOR = "postal operator"
EXCLUDED = "Carriers often exclude live plants: read the conditions of carriage."
IN_WRITING = {
    "carrier_damage": (CONSTANTS.carrier_damage_notice_days, "of receipt"),
    "carrier_delay": (CONSTANTS.carrier_delay_notice_days, "of the day on which the box was ready for you"),
}
WHAT = {
    "carrier_damage": "Tell the carrier of the damage in writing, at the latest on this day.",
    "carrier_delay": "If the box came later than agreed, tell the carrier in writing, at the latest on this day.",
}


def claim_clocks(life: ShipmentLife, recourse: Recourse | None, origin: Place, destination: Place) -> list[Clock]:
    """Return the clocks of an arrived shipment; `recourse` is that of its plan, None without one."""
    record = life.stored.record
    zone = ZoneInfo(destination.time_zone)
    arrived_on = record.arrival_date or record.ship_date
    clocks = [_seller_window(life, recourse, zone)]
    if recourse is not None and recourse.payment_window_days is not None:
        days = recourse.payment_window_days
        clocks.append(
            Clock(
                code="payment_protection",
                **{"from": record.ship_date},
                until=record.ship_date + timedelta(days=days),
                source=f"the plan: payments can be disputed for {_days(days)}",
                text=(
                    "Open a dispute with the payment service before the end of this day. It is counted from the ship "
                    "date; if the time runs from an earlier payment, it ends earlier: look it up."
                ),
                decided_by=PAYMENT_SERVICE,
            )
        )
    if record.service == "post":
        return [*clocks, *_postal(arrived_on)]
    return [*clocks, *_by_air(arrived_on, domestic=origin.country == destination.country)]


def _seller_window(life: ShipmentLife, recourse: Recourse | None, zone: ZoneInfo) -> Clock:
    start = counted_from(life, zone)
    counted = "It is counted from the start of the day of arrival, as the time is not recorded."
    if life.arrived_at is not None:
        counted = "It is counted from delivery; some sellers count from the opening."
    hours = None if recourse is None else window_hours(recourse.model_dump(exclude_unset=True))
    if hours is None:
        source = (
            f"not given: {CONSTANTS.claim_window_h} h is the most common window of a sample of published policies, "
            f"which run from {CLAIM_WINDOWS} (common practice); the seller's own terms count"
        )
        text = f"Write to the seller before this moment, best today, and ask how long you may claim. {counted}"
    else:
        source = f"the plan: a claim window of {hours:g} h"
        text = f"Write to the seller before this moment. {counted}"
    return Clock(
        code="seller_window",
        **{"from": start.astimezone(UTC).astimezone(zone)},
        until=claim_until(start.astimezone(zone), hours),
        source=source,
        text=text,
        decided_by=SELLER,
    )


def _by_air(arrived_on: date, *, domestic: bool) -> list[Clock]:
    clocks = []
    for code, (days, of) in IN_WRITING.items():
        if domestic:
            until, source = None, "carriage within one country: its law and the carrier's conditions count"
            text = f"Ask the carrier until when and how to complain; do it in writing. {EXCLUDED}"
        else:
            until = arrived_on + timedelta(days=days)
            source = f"Montreal Convention 1999, Article 31(2): in writing within {_days(days)} {of}"
            text = f"{WHAT[code]} This holds for carriage by air between states that joined the Convention. {EXCLUDED}"
        clocks.append(
            Clock.model_validate(
                {
                    "code": code,
                    "from": arrived_on,
                    "until": until,
                    "source": source,
                    "text": text,
                    "decided_by": CARRIER,
                }
            )
        )
    return clocks


def _postal(arrived_on: date) -> list[Clock]:
    source = (
        "mail follows the rules of the post, not those of air cargo (Montreal Convention 1999, Article 2, from memory)"
    )
    return [
        Clock.model_validate(
            {
                "code": code,
                "from": arrived_on,
                "until": None,
                "source": source,
                "text": f"Ask the postal operator until when and how to claim for {what}. {EXCLUDED}",
                "decided_by": OPERATOR,
            }
        )
        for code, what in (("carrier_damage", "damage"), ("carrier_delay", "delay"))
    ]


def _days(n: int) -> str:
    return "1 day" if n == 1 else f"{n} days"
