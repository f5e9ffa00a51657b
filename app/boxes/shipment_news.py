"""News of a box: its departure, what was heard of it on its way, and what became of the claim."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from app.boxes.recorded_moments import ahead_faults
from app.boxes.shipment_answer import time_zone
from app.boxes.shipment_changes import Decided
from app.boxes.shipment_lookup import WholeShipment
from app.problems import Conflict, FieldError, InvalidInput, json_pointer
from app.records import local_date
from app.schemas import ChangeRequest, RequestBody
from app.store import ARRIVED, JourneyEvent, ShipmentChange, ShipmentLife
from model.reference import Reference

NEWS_BODY = RequestBody(ChangeRequest)
MAX_EVENTS = 1000
DEPARTED, LOST, IN_TRANSIT = "departed", "lost", "in_transit"


def decide_news(found: WholeShipment, asked: ChangeRequest, reference: Reference, now: datetime) -> Decided:
    """Return what news come to.

    A box is in transit once its departure is known, and lost while the last that was heard of it is that it is lost.

    Raises
    ------
    InvalidInput
        If an event is before the departure or in the future, or no departure is known; if a claim was settled before
        the arrival.
    Conflict
        If the box has arrived and its journey would change, or has not and its claim would.
    """
    life = found.life
    new = _new_events(life, asked)
    departed_at = _departure(life, asked, new)
    _check(life, asked, new, departed_at, now)
    arrived = life.stored.state == ARRIVED
    if arrived and (new or departed_at != life.departed_at):
        raise Conflict(
            "The box has arrived, and its journey is closed: correct its departure with departed_at in PUT arrival."
        )
    if asked.claim is not None and not arrived:
        raise Conflict("A claim has an outcome only after the arrival: PUT arrival first.")
    values: dict[str, Any] = {}
    if not arrived and departed_at is not None:
        heard = [*life.events, *new]
        values["state"] = LOST if heard and max(heard, key=_when).kind == LOST else IN_TRANSIT
        values["departed_at"] = departed_at
        values["ship_date"] = local_date(departed_at, time_zone(life.stored.record.origin, reference))
    if asked.claim is not None:
        values["claim_outcome"] = asked.claim.outcome
        values["claim_amount"] = asked.claim.amount
        values["claim_settled_on"] = asked.claim.settled_on
    return Decided(ShipmentChange(values, heard=new))


def _new_events(life: ShipmentLife, asked: ChangeRequest) -> list[JourneyEvent]:
    known = set(life.events)
    given = dict.fromkeys(JourneyEvent(event.at, event.kind, event.note) for event in asked.events)
    return [event for event in given if event not in known]


def _departure(life: ShipmentLife, asked: ChangeRequest, new: Sequence[JourneyEvent]) -> datetime | None:
    if asked.departed_at is not None:
        return asked.departed_at
    if life.departed_at is not None or life.stored.state == ARRIVED:
        return life.departed_at
    return min((event.at for event in new if event.kind == DEPARTED), default=None)


def _check(
    life: ShipmentLife,
    asked: ChangeRequest,
    new: Sequence[JourneyEvent],
    departed_at: datetime | None,
    now: datetime,
) -> None:
    heard = [(json_pointer(("events", i, "at")), event.at) for i, event in enumerate(asked.events)]
    faults = ahead_faults([("/departed_at", asked.departed_at), *heard], now)
    if len(life.events) + len(new) > MAX_EVENTS:
        faults.append(FieldError("/events", f"must leave the shipment with at most {MAX_EVENTS:,} events"))
    for i, event in enumerate(asked.events):
        if event.kind == DEPARTED or JourneyEvent(event.at, event.kind, event.note) not in new:
            continue
        if departed_at is None:
            message = "needs a departure: give departed_at, or an event of the kind departed"
            faults.append(FieldError(json_pointer(("events", i, "kind")), message))
        elif event.at < departed_at:
            faults.append(FieldError(json_pointer(("events", i, "at")), "must not be before the departure"))
    arrival_date = life.stored.record.arrival_date
    settled_on = asked.claim.settled_on if asked.claim is not None else None
    if settled_on is not None and arrival_date is not None and settled_on < arrival_date:
        faults.append(FieldError("/claim/settled_on", "must not be before the arrival"))
    if faults:
        raise InvalidInput(faults)


def _when(event: JourneyEvent) -> datetime:
    return event.at
