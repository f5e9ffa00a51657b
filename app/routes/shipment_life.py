"""``/v1/shipments``: a box from plan to recheck."""

from collections.abc import Callable
from datetime import UTC, datetime

from anyio import to_thread
from fastapi import APIRouter, Request, Response

from app.engine import Engine
from app.openapi import declared
from app.problems import UnsupportedMediaType
from app.replies import Reply
from app.routes.exchange import in_worker, is_json
from app.services.shipment_lookup import answer_shipment
from app.services.shipment_pages import answer_page, page_query
from app.services.shipment_plans import plan_shipment
from app.store.database import Database

SHIPMENTS = "/v1/shipments"
SHIPMENT = "/v1/shipments/{shipment_id}"

router = APIRouter()


async def _replied(request: Request, work: Callable[[Database, Engine, datetime], Reply]) -> Response:
    """Answer with the reply of `work`, made in a worker thread."""
    state = request.app.state
    engine = state.active.engine
    reply = await to_thread.run_sync(lambda: work(state.database, engine, datetime.now(UTC)), limiter=state.workers)
    return Response(
        reply.body,
        status_code=reply.status,
        headers=reply.headers,
        media_type="application/json" if reply.body else None,
    )


@router.post(SHIPMENTS, **declared("plan_shipment"))
async def plan(request: Request) -> Response:
    """Plan a shipment: the compare body with one route. Its forecast is stored as given and never changed.

    With an ``Idempotency-Key`` (1 to 200 characters, kept for 7 days) the same call made again gets the first answer
    again: 409 while the first still runs, 422 with another body. Boxes that travel apart are planned one by one.
    """
    if not is_json(request.headers.get("content-type", "")):
        raise UnsupportedMediaType
    body = await request.body()
    key = request.headers.get("idempotency-key")
    return await _replied(request, lambda database, engine, now: plan_shipment(body, key, database, engine, now))


@router.get(SHIPMENTS, **declared("shipments"))
async def shipments(request: Request) -> Response:
    """Shipments, the newest first: ``?state=planned|in_transit|arrived|lost&reference=&limit=1-500&cursor=``."""
    parameters = request.query_params.multi_items()

    def work(engine: Engine) -> bytes:
        query = page_query(parameters)
        now = datetime.now(UTC)
        return answer_page(query, request.app.state.database, engine.reference, now).model_dump_json().encode()

    return await in_worker(request, work)


@router.get(SHIPMENT, **declared("shipment"))
async def shipment(request: Request, shipment_id: str) -> Response:
    """One shipment with its plan, forecast, events, arrival and recheck; its ``ETag`` goes into ``If-Match``."""
    return await _replied(
        request, lambda database, engine, now: answer_shipment(database, shipment_id, engine.reference, now)
    )
