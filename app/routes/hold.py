"""``POST /v1/hold``."""

from fastapi import APIRouter, Request, Response

from app.openapi import declared
from app.request_body import RequestBody
from app.routes.exchange import exchange, with_seller_record
from app.schemas.hold import HoldRequest
from app.services.hold import answer_hold

router = APIRouter()
BODY = RequestBody(HoldRequest)


@router.post("/v1/hold", **declared("hold"))
async def hold(request: Request) -> Response:
    """Ship now or wait: every allowed ship date for every route, and a recommendation."""
    return await exchange(request, BODY, with_seller_record(request, answer_hold))
