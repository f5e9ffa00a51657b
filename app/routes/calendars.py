"""``GET /v1/shipments/calendar`` and ``/v1/shipments/{id}/calendar``: dates of boxes as a calendar file."""

from collections.abc import Callable

from fastapi import APIRouter, Request, Response

from app.claims import CALENDAR_TYPE, box_calendar, boxes_calendar
from app.clock import moment
from app.http import declared, pools_of

router = APIRouter()


async def _file(request: Request, name: str, work: Callable[[], bytes]) -> Response:
    content = await pools_of(request).reading.run(request, work)
    headers = {"Content-Disposition": f'attachment; filename="{name}.ics"'}
    return Response(content, media_type=f"{CALENDAR_TYPE}; charset=utf-8", headers=headers)


@router.get("/v1/shipments/calendar", **declared("calendar"))
async def calendar(request: Request) -> Response:
    """Until when to claim and when to count again, of all boxes of the last 90 days (iCalendar); 409 if none waits."""
    state = request.app.state
    engine, now = state.active.engine, moment(state.settings.now)
    return await _file(request, "boxes", lambda: boxes_calendar(state.database, engine.reference, now))


@router.get("/v1/shipments/{shipment_id}/calendar", **declared("shipment_calendar"))
async def shipment_calendar(request: Request, shipment_id: str) -> Response:
    """Until when to claim for one box and when to count it again (iCalendar); 409 before its arrival."""
    state = request.app.state
    engine, now = state.active.engine, moment(state.settings.now)
    return await _file(request, shipment_id, lambda: box_calendar(state.database, shipment_id, engine.reference, now))
