"""``GET /v1/track-record``."""

from fastapi import APIRouter, Request, Response

from app.openapi import declared
from app.routes.exchange import in_worker

router = APIRouter()


@router.get("/v1/track-record", **declared("track_record"))
async def track_record(request: Request) -> Response:
    """Forecasts stored before arrival against what was found: scores, reliability, coverage, and a verdict."""
    return await in_worker(request, request.app.state.track_record.answer)
