"""``/v1/shipments``: a box from plan to recheck."""

from collections.abc import Callable
from datetime import datetime
from typing import TypeVar

from fastapi import APIRouter, Request, Response

from app.boxes import (
    NEWS_BODY,
    RECHECK_BODY,
    TAKE_BACK_BODY,
    ChangeCall,
    Decide,
    answer_page,
    answer_shipment,
    change,
    change_checked,
    change_plan,
    decide_arrival,
    decide_confirm,
    decide_news,
    decide_recheck,
    decide_take_back,
    delete,
    page_query,
    plan_shipment,
    read_arrival,
)
from app.clock import moment
from app.http import Pool, conditions_of, declared, in_worker, is_json, pools_of
from app.problems import UnsupportedMediaType
from app.serving import Engine
from app.store import Database, Reply

SHIPMENTS = "/v1/shipments"
SHIPMENT = "/v1/shipments/{shipment_id}"

Asked = TypeVar("Asked")

router = APIRouter()


async def _replied(request: Request, pool: Pool, work: Callable[[Database, Engine, datetime], Reply]) -> Response:
    """Answer with the reply of `work`, made in a thread of a pool."""
    state = request.app.state
    engine = state.active.engine

    def replied() -> Reply:
        return work(state.database, engine, moment(state.settings.now))

    reply = await pool.run(request, replied)
    return Response(
        reply.body,
        status_code=reply.status,
        headers=reply.headers,
        media_type="application/json" if reply.body else None,
    )


@router.post(SHIPMENTS, **declared("plan_shipment"))
async def plan(request: Request) -> Response:
    """Plan a shipment: the compare body with one route. Its forecast is stored as given, and changes with it only.

    With an ``Idempotency-Key`` (1 to 200 characters, kept for 7 days) the same call made again gets the first answer
    again: 409 while the first still runs, 422 with another body. Boxes that travel apart are planned one by one.
    """
    if not is_json(request.headers.get("content-type", "")):
        raise UnsupportedMediaType
    body = await request.body()
    key = request.headers.get("idempotency-key")

    def work(database: Database, engine: Engine, now: datetime) -> Reply:
        return plan_shipment(body, key, database, engine, now)

    return await _replied(request, pools_of(request).changing, work)


@router.get(SHIPMENTS, **declared("shipments"))
async def shipments(request: Request) -> Response:
    """Shipments, the newest first, ``arrived`` by arrival.

    ``?state=planned|in_transit|arrived|lost&reference=&limit=1-500&cursor=``.
    """
    parameters = request.query_params.multi_items()

    def work(engine: Engine) -> bytes:
        query, state = page_query(parameters), request.app.state
        now = moment(state.settings.now)
        return answer_page(query, state.database, engine.reference, now).model_dump_json().encode()

    return await in_worker(request, pools_of(request).reading, work)


@router.get(SHIPMENT, **declared("shipment"))
async def shipment(request: Request, shipment_id: str) -> Response:
    """One shipment with its plan, forecast, events, arrival and recheck; its ``ETag`` goes into ``If-Match``."""

    def work(database: Database, engine: Engine, now: datetime) -> Reply:
        return answer_shipment(database, shipment_id, engine.reference, now)

    return await _replied(request, pools_of(request).reading, work)


def _read(request: Request, data: bytes, read: Callable[[bytes], Asked]) -> Callable[[], Asked]:
    """Return what reads the body of a change, once the change may be made at all."""
    content_type = request.headers.get("content-type", "")

    def reading() -> Asked:
        if not is_json(content_type):
            raise UnsupportedMediaType
        return read(data)

    return reading


async def _changed(request: Request, shipment_id: str, make: Callable[[ChangeCall], Reply]) -> Response:
    conditions = conditions_of(request.headers)

    def work(database: Database, engine: Engine, now: datetime) -> Reply:
        return make(ChangeCall(shipment_id, conditions, database, engine, now))

    return await _replied(request, pools_of(request).changing, work)


async def _decided(
    request: Request,
    shipment_id: str,
    read: Callable[[bytes], Asked],
    decide: Decide[Asked],
    reason: str,
    *,
    checked: bool = False,
) -> Response:
    data = await request.body()
    made = change_checked if checked else change
    return await _changed(
        request, shipment_id, lambda call: made(call, _read(request, data, read), decide, reason=reason)
    )


@router.patch(SHIPMENT, **declared("change_shipment"))
async def news(request: Request, shipment_id: str) -> Response:
    """News of a box: its departure, events on its way, the outcome of the claim. Needs ``If-Match``.

    Events are added to those recorded, in any order; an equal one is ignored. A departure, given as ``departed_at`` or
    as an event, puts the box in transit; an event ``lost`` that nothing follows makes it lost, and later news find it
    again. Once the box has arrived its journey is closed: new events are a 409, while events already recorded and an
    empty list still pass. ``departed_at``, ``arrived_at`` and ``opened_at`` then correct what is recorded.
    ``claim`` is taken after arrival only, 409 before.
    """
    return await _decided(request, shipment_id, NEWS_BODY.parse, decide_news, "news", checked=True)


@router.put(SHIPMENT + "/plan", **declared("change_plan"))
async def replan(request: Request, shipment_id: str) -> Response:
    """Give a shipment that is still planned another plan, as a whole; 409 once it has left. Needs ``If-Match``.

    Its forecast is made anew and stored with it. The id stays; the plan before is kept in the history. The same plan
    sent again changes nothing.
    """
    data = await request.body()
    return await _changed(request, shipment_id, lambda call: change_plan(call, _read(request, data, bytes)))


@router.delete(SHIPMENT, **declared("delete_shipment"))
async def remove(request: Request, shipment_id: str) -> Response:
    """Delete a shipment that is still planned; 409 once it has left. Needs ``If-Match``."""
    return await _changed(request, shipment_id, delete)


@router.put(SHIPMENT + "/arrival", **declared("arrival"))
async def arrival(request: Request, shipment_id: str) -> Response:
    """What was found in the box, whether it was on its way, only planned, or given up as lost. Needs ``If-Match``.

    Sent again it replaces the arrival as a whole, logger included; the version before is kept. The answer lists the
    next steps with dates. What does not fit the journey or the other boxes is ``doubtful``, and a caution says so: it
    is recorded and used all the same.
    """
    return await _decided(request, shipment_id, read_arrival, decide_arrival, "arrival", checked=True)


@router.put(SHIPMENT + "/confirm", **declared("confirm"))
async def confirm(request: Request, shipment_id: str) -> Response:
    """Say that the record of an arrived shipment, as it is, is right: it is doubted no longer. Needs ``If-Match``.

    It takes no body. Said again it changes nothing; once the record is corrected it has to be said anew.
    """
    return await _changed(
        request, shipment_id, lambda call: change(call, lambda: None, decide_confirm, reason="confirm")
    )


@router.post(SHIPMENT + "/take-back", **declared("take_back"))
async def take_back(request: Request, shipment_id: str) -> Response:
    """Take back the step that was recorded last, by mistake: 409 if another was. Needs ``If-Match``.

    The version before is kept. What the model learned from an arrival goes with the next refit.
    """
    return await _decided(request, shipment_id, TAKE_BACK_BODY.parse, decide_take_back, "taken back")


@router.put(SHIPMENT + "/recheck", **declared("recheck"))
async def recheck(request: Request, shipment_id: str) -> Response:
    """The plants counted again about 14 days on; 409 before the arrival. Needs ``If-Match``.

    Sent again it replaces the recheck as a whole; the version before is kept.
    """
    return await _decided(request, shipment_id, RECHECK_BODY.parse, decide_recheck, "recheck")
