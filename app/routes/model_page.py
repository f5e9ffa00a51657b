"""``GET /v1/model``."""

from fastapi import APIRouter, Request, Response

from app.openapi import declared
from app.routes.exchange import in_worker
from app.services.model_page import answer_model

router = APIRouter()


@router.get("/v1/model", **declared("model"))
async def model(request: Request) -> Response:
    """The active model: rules of thumb and how each is met, effects as time ratios, diagnostics."""
    notice = request.app.state.active.notice
    return await in_worker(request, lambda engine: answer_model(engine, notice))
