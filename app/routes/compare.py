"""``POST /v1/compare``."""

from fastapi import APIRouter, Request, Response

from app.openapi import declared
from app.request_body import RequestBody
from app.routes.exchange import exchange, with_seller_record
from app.schemas.compare import CompareRequest
from app.services.compare import answer_compare

router = APIRouter()
BODY = RequestBody(CompareRequest)


@router.post("/v1/compare", **declared("compare"))
async def compare(request: Request) -> Response:
    """Courier or air cargo: chances and money of each route for a batch, and a recommendation."""
    return await exchange(request, BODY, with_seller_record(request, answer_compare))
