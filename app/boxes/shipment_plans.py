"""Plan a shipment, and plan it anew until it leaves: its forecast is stored with it.

The same call made twice plans one.
"""

from collections.abc import Callable
from datetime import datetime
from functools import partial
from hashlib import sha256

from app.batch import Filled, stored_seller, with_seller
from app.boxes.plan_forecast import plan_forecast
from app.boxes.shipment_answer import shipment_answer
from app.boxes.shipment_changes import ChangeCall, check_first
from app.boxes.shipment_lookup import find_shipment, shipment_reply, whole
from app.problems import Conflict, FieldError, InvalidInput
from app.records import LineRecord, ShipmentRecord
from app.schemas import PlanRequest, RequestBody
from app.serving import Engine
from app.store import (
    CREATED,
    PLANNED,
    Connection,
    Database,
    Reply,
    StoredPlan,
    add_planned,
    complete_key,
    read_life,
    reference_taken,
    release_key,
    replace_plan,
    reserve_key,
)
from model.reference import Reference

PLAN_BODY = RequestBody(PlanRequest)
MAX_KEY_CHARACTERS = 200


def stored_plan(plan_json: str) -> PlanRequest:
    """Return the plan of a shipment as it was asked for."""
    return PlanRequest.model_validate_json(plan_json)


def plan_shipment(body: bytes, key: str | None, database: Database, engine: Engine, now: datetime) -> Reply:
    """Store a plan and its forecast, and answer with the shipment; with a key, do it once.

    Raises
    ------
    MalformedJson, InvalidInput
        If the body is no plan, or its key was used with another.
    Conflict
        If the reference is taken, or a call with this key still runs.
    StoreUnavailable
        If the database cannot be used.
    """
    request = PLAN_BODY.parse(body)
    filled = with_seller(request, stored_seller(database, request.seller))
    _refuse_several(filled.request, engine.reference)
    run = partial(_plan, filled, body.decode(), database, engine)
    if key is None:
        return run(None, now)
    _check_key(key)
    digest = sha256(body).hexdigest()
    with database.writing() as connection:
        earlier = reserve_key(connection, key, digest, now=now)
    if earlier is not None:
        if earlier.body_sha256 != digest:
            message = "was used with another body: send a new key with a new plan"
            raise InvalidInput([FieldError("", f"the Idempotency-Key {message}")])
        if earlier.reply is None:
            raise Conflict("A call with this Idempotency-Key still runs: send the same call again in a moment.")
        return earlier.reply
    try:
        return run(key, now)
    except BaseException:
        with database.writing() as connection:
            release_key(connection, key, reserved_at=now)
        raise


def change_plan(call: ChangeCall, read: Callable[[], bytes]) -> Reply:
    """Give a shipment that has not left yet another plan, stored with the forecast of it; the version before is kept.

    A plan that is the same leaves shipment, forecast and ETag as they are. `read` returns the body.

    Raises
    ------
    NotFound, PreconditionRequired, PreconditionFailed, MalformedJson, UnsupportedMediaType, InvalidInput, Conflict
        Nothing is changed: in this order, unknown shipment, no If-Match, stale If-Match, the body, the state.
    StoreUnavailable
        If the database cannot be used.
    """
    check_first(call)
    body = read()
    request = PLAN_BODY.parse(body)
    filled = with_seller(request, stored_seller(call.database, request.seller))
    _refuse_several(filled.request, call.engine.reference)
    with call.database.reading() as connection:
        _refuse_departed(find_shipment(connection, call.shipment_id).stored.state)
    forecast = plan_forecast(filled.request, call.engine, filled.from_record)
    plan = StoredPlan(body.decode(), forecast.model_version, forecast.seed, forecast.answer_json)
    with call.database.writing() as connection:
        life = find_shipment(connection, call.shipment_id)
        stored = life.stored
        call.conditions.check_change(stored.etag)
        _refuse_departed(stored.state)
        found = whole(connection, life)
        if found.plan is None or stored_plan(found.plan.plan_json) != request:
            if request.reference != stored.reference:
                _refuse_taken(connection, request.reference)
            quantities = [line.quantity for line in filled.request.lines]
            reference = request.reference
            replace_plan(connection, stored, _record(filled), quantities, plan, reference=reference, now=call.now)
            found = whole(connection, find_shipment(connection, call.shipment_id))
    return shipment_reply(found, call.engine.reference, call.now)


def _refuse_departed(state: str) -> None:
    if state != PLANNED:
        raise Conflict("Only the plan of a shipment that is still planned can be changed: it has left.")


def _refuse_taken(connection: Connection, reference: str | None) -> None:
    if reference is not None and reference_taken(connection, reference):
        message = "is taken by another shipment: choose another, or GET /v1/shipments?reference= to find it"
        raise Conflict("The reference is taken.", [FieldError("/reference", message)])


def _plan(
    filled: Filled[PlanRequest], plan_json: str, database: Database, engine: Engine, key: str | None, now: datetime
) -> Reply:
    request = filled.request
    forecast = plan_forecast(request, engine, filled.from_record)
    plan = StoredPlan(plan_json, forecast.model_version, forecast.seed, forecast.answer_json)
    with database.writing() as connection:
        _refuse_taken(connection, request.reference)
        quantities = [line.quantity for line in request.lines]
        record = _record(filled)
        shipment_id = add_planned(connection, record, quantities, plan, reference=request.reference, now=now)
        life = read_life(connection, shipment_id)
        assert life is not None  # noqa: S101 - it was just added
        answer = shipment_answer(life, plan, [], engine.reference, now)
        headers = {"Location": f"/v1/shipments/{shipment_id}", "ETag": life.stored.etag}
        reply = Reply(CREATED, headers, answer.model_dump_json().encode())
        if key is not None and not complete_key(connection, key, reply, reserved_at=now):
            raise Conflict("The call took too long, and its Idempotency-Key was given up: send it again.")
    return reply


def _record(filled: Filled[PlanRequest]) -> ShipmentRecord:
    request = filled.request
    packing, route = request.packing, request.routes[0]
    # A kind on the seller's record stays there, so that a correction of it reaches every box.
    on_record = any(assumed.pointer == "/seller_kind" for assumed in filled.from_record)
    lines = tuple(
        LineRecord(line.genus, line.cultivar, None, None, None, None, line.unit_cost, line.sale_value)
        for line in request.lines
    )
    return ShipmentRecord(
        shipment=request.reference or "",
        seller=request.seller,
        service=route.service,
        origin=request.origin,
        destination=request.destination,
        container=packing.container,
        roots=packing.roots,
        heat_pack_hours=packing.heat_pack_hours,
        ship_date=request.ship_date,
        arrival_date=None,
        inside_temp_c=None,
        heat_packs=packing.heat_packs,
        cold_packs=packing.cold_packs,
        seller_kind=None if on_record else request.seller_kind,
        currency=request.currency,
        recheck_date=None,
        inside_min_c=None,
        inside_max_c=None,
        lines=lines,
    )


def _refuse_several(request: PlanRequest, reference: Reference) -> None:
    """Refuse boxes that travel apart: each has a journey and an arrival of its own."""
    route, packing = request.routes[0], request.packing
    capacity = packing.capacity or reference.containers[packing.container].capacity
    n_boxes = route.boxes or -(-sum(line.quantity for line in request.lines) // capacity)
    if route.travel == "apart" and n_boxes > 1:
        message = (
            f"must be together: these are {n_boxes:,} boxes, each with a journey of its own. Plan boxes that travel "
            "apart one by one, each with the lines that are in it"
        )
        raise InvalidInput([FieldError("/routes/0/travel", message)])


def _check_key(key: str) -> None:
    if not (0 < len(key) <= MAX_KEY_CHARACTERS and key.isascii() and key.isprintable()):
        message = f"the Idempotency-Key must be 1 to {MAX_KEY_CHARACTERS} printable characters of ASCII"
        raise InvalidInput([FieldError("", message)])
