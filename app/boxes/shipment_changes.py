"""Changes of a shipment: one at a time, each against the version that its caller has seen."""

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, NamedTuple, TypeVar

from app.batch import caution
from app.boxes.shipment_lookup import WholeShipment, check_ledger, find_shipment, shipment_reply, whole
from app.doubts import check_shipments
from app.problems import Conflict
from app.records import Preconditions
from app.schemas import Caution
from app.serving import Engine
from app.store import (
    ARRIVED,
    NO_CONTENT,
    PLANNED,
    Database,
    Reply,
    ShipmentChange,
    ShipmentLife,
    change_shipment,
    delete_shipment,
    photos_as_json,
)
from model.reference import Reference

Asked = TypeVar("Asked")


class ChangeCall(NamedTuple):
    """What a call to change a shipment carries; `reading` reads its body, and refuses it."""

    shipment_id: str
    conditions: Preconditions
    database: Database
    engine: Engine
    now: datetime


class Decided(NamedTuple):
    """What a change comes to: what is written, what to say of it, and whether the record is looked at for slips."""

    change: ShipmentChange
    cautions: Sequence[Caution] = ()
    look: bool = False


Decide = Callable[[WholeShipment, Asked, Reference, datetime], Decided]


def change(call: ChangeCall, read: Callable[[], Asked], decide: Decide[Asked], *, reason: str) -> Reply:
    """Change a shipment, and answer with the whole of it; a change that changes nothing leaves its ETag.

    `read` reads the body, outside of the write transaction; `decide` says what it comes to for the shipment as it is
    now. A call is refused in this order: unknown shipment, no If-Match, stale If-Match, the body, the state.

    Raises
    ------
    NotFound, PreconditionRequired, PreconditionFailed, MalformedJson, UnsupportedMediaType, InvalidInput, Conflict
        Nothing is changed.
    StoreUnavailable
        If the database cannot be used.
    """
    check_first(call)
    asked = read()
    with call.database.writing() as connection:
        life = find_shipment(connection, call.shipment_id)
        call.conditions.check_change(life.stored.etag)
        found = whole(connection, life)
        decided = decide(found, asked, call.engine.reference, call.now)
        if _changes(found, decided.change):
            change_shipment(connection, life.stored, decided.change, reason=reason, now=call.now)
            found = whole(connection, find_shipment(connection, call.shipment_id))
    return shipment_reply(found, call.engine.reference, call.now, decided.cautions)


def change_checked(call: ChangeCall, read: Callable[[], Asked], decide: Decide[Asked], *, reason: str) -> Reply:
    """Change a shipment as `change` does, look at its record if called for, and answer with what of it looks wrong.

    Raises
    ------
    NotFound, PreconditionRequired, PreconditionFailed, MalformedJson, UnsupportedMediaType, InvalidInput, Conflict
        As `change`.
    StoreUnavailable
        If the database cannot be used.
    """
    decided: list[Decided] = []

    def noted(found: WholeShipment, asked: Asked, reference: Reference, now: datetime) -> Decided:
        decided[:] = [decide(found, asked, reference, now)]
        return decided[0]

    reply = change(call, read, noted, reason=reason)
    if not decided[0].look:
        return reply
    with call.database.reading() as connection:
        number = find_shipment(connection, call.shipment_id).stored.number
    # Dates ahead have a caution of their own in every answer about a box.
    check_shipments(call.database, call.engine, [number], now=None)
    with call.database.reading() as connection:
        found = whole(connection, find_shipment(connection, call.shipment_id))
    doubts = [caution("doubtful_record", text=doubt.text.removesuffix(".")) for doubt in found.doubts]
    return shipment_reply(found, call.engine.reference, call.now, [*doubts, *decided[0].cautions])


def decide_confirm(found: WholeShipment, _: None, __: Reference, ___: datetime) -> Decided:
    """Return what it comes to that the record of a shipment, as it is, is right.

    Raises
    ------
    Conflict
        If it has not arrived.
    """
    stored = found.life.stored
    if stored.state != ARRIVED:
        raise Conflict("Only the record of a shipment that has arrived can be confirmed.")
    return Decided(ShipmentChange({"confirmed_revision": stored.corrected_revision}))


def delete(call: ChangeCall) -> Reply:
    """Delete a shipment that was only planned.

    Raises
    ------
    NotFound, PreconditionRequired, PreconditionFailed, Conflict
        Nothing is changed.
    StoreUnavailable
        If the database cannot be used.
    """
    check_first(call)
    with call.database.writing() as connection:
        stored = find_shipment(connection, call.shipment_id).stored
        call.conditions.check_change(stored.etag)
        if stored.state != PLANNED:
            raise Conflict("Only a shipment that is still planned can be deleted: what has left stays on record.")
        delete_shipment(connection, stored)
    return Reply(NO_CONTENT, {}, b"")


def check_first(call: ChangeCall) -> None:
    """Refuse a change, before its body is read, that may not be made at all.

    Raises
    ------
    NotFound, PreconditionRequired, PreconditionFailed
        If there is no such shipment, or the call does not say that it changes the version there is.
    StoreUnavailable
        If the database cannot be used.
    """
    check_ledger(call.database)
    with call.database.reading() as connection:
        stored = find_shipment(connection, call.shipment_id).stored
    call.conditions.check_change(stored.etag)


def _changes(found: WholeShipment, change: ShipmentChange) -> bool:
    present = _present_values(found.life)
    pairs = list(zip(found.life.stored.record.lines, found.life.ordered, strict=True))
    return (
        bool(change.heard or change.forgotten)
        or any(present[name] != value for name, value in change.values.items())
        or (change.lines is not None and list(change.lines) != pairs)
        or (change.readings is not None and list(change.readings) != found.trace)
    )


def _present_values(life: ShipmentLife) -> dict[str, Any]:
    """Return what is recorded of a shipment by the names of its columns."""
    changed = {"state": life.stored.state, "photos_json": photos_as_json(life.photos)}
    return life.stored.record._asdict() | life._asdict() | life.stored._asdict() | changed
