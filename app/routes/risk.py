"""``POST /v1/risk``."""

from fastapi import APIRouter, Request, Response

from app.openapi import declared
from app.request_body import RequestBody
from app.routes.exchange import exchange
from app.schemas.risk import RiskRequest
from app.services.risk import answer_risk

router = APIRouter()
BODY = RequestBody(RiskRequest)


@router.post("/v1/risk", **declared("risk"))
async def risk(request: Request) -> Response:
    """The chances of up to 10,000 lines of plants, in the order asked."""
    return await exchange(request, BODY, answer_risk)
