"""News of a box: its departure, what was heard of it on its way, and what became of the claim."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from app.boxes.journey_times import GivenTimes, journey_times
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
        If the box has arrived and more is heard of its journey, or has not and its delivery or claim would change.
    """
    life = found.life
    new = _new_events(life, asked)
    departed_at = _departure(life, asked, new)
    _check(life, asked, new, departed_at, now)
    arrived = life.stored.state == ARRIVED
    if arrived and new:
        raise Conflict("The box has arrived, and its journey is closed: only its times can be corrected.")
    if not arrived and (asked.arrived_at is not None or asked.opened_at is not None):
        raise Conflict("Delivery and opening can be corrected once they are recorded: PUT arrival first.")
    if asked.claim is not None and not arrived:
        raise Conflict("A claim has an outcome only after the arrival: PUT arrival first.")
    corrects = arrived and any((asked.departed_at, asked.arrived_at, asked.opened_at))
    values: dict[str, Any] = _corrected_times(found, asked, reference) if corrects else {}
    if not arrived and departed_at is not None:
        values["state"] = state_on_the_way([*life.events, *new])
        values["departed_at"] = departed_at
        values["ship_date"] = local_date(departed_at, time_zone(life.stored.record.origin, reference))
    if asked.claim is not None:
        values["claim_outcome"] = asked.claim.outcome
        values["claim_amount"] = asked.claim.amount
        values["claim_settled_on"] = asked.claim.settled_on
    return Decided(ShipmentChange(values, heard=new), look=corrects)


def state_on_the_way(heard: Sequence[JourneyEvent]) -> str:
    """Return the state of a box that has left, by all that was heard of it."""
    return LOST if heard and max(heard, key=_when).kind == LOST else IN_TRANSIT


def _corrected_times(found: WholeShipment, asked: ChangeRequest, reference: Reference) -> dict[str, Any]:
    """Return what is written of corrected times of a box that has arrived.

    An opening at the moment of the delivery goes with it.

    Raises
    ------
    InvalidInput
        If they do not fit each other, the logger's readings or the recheck.
    """
    life = found.life
    arrived_at = asked.arrived_at or life.arrived_at
    if arrived_at is None:
        raise InvalidInput([FieldError("/arrived_at", "is needed: only the day of the delivery is on record")])
    apart = None if life.opened_at == life.arrived_at else life.opened_at
    opened_at = asked.opened_at or apart or arrived_at
    faults: list[FieldError] = []
    times = journey_times(found, GivenTimes(asked.departed_at, arrived_at, opened_at), reference, faults)
    if opened_at < arrived_at:
        faults.append(FieldError("/opened_at", "must not be before the delivery: correct one of them"))
        faults.append(FieldError("/arrived_at", "must not be after the opening: correct one of them"))
    if life.rechecked_at is not None and life.rechecked_at < opened_at:
        faults.append(FieldError("/opened_at", "must not be after the plants were counted again"))
    if found.trace and found.trace[0].at < times.begins:
        faults.append(FieldError("/departed_at", "must not be after the first reading of the logger"))
    if found.trace and found.trace[-1].at > opened_at:
        faults.append(FieldError("/opened_at", "must not be before the last reading of the logger"))
    if faults:
        raise InvalidInput(faults)
    return times.values


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
    given = [(f"/{name}", getattr(asked, name)) for name in ("departed_at", "arrived_at", "opened_at")]
    faults = ahead_faults([*given, *heard], now)
    first = min((event.at for event in life.events if event.kind != DEPARTED), default=None)
    if asked.departed_at is not None and first is not None and first < asked.departed_at:
        faults.append(FieldError("/departed_at", "must not be after what was heard of the box on its way"))
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
