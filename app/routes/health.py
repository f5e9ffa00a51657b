"""``GET /health`` for life, ``GET /ready`` for ledger and model."""

from fastapi import APIRouter, Request, Response

from app.http import declared, in_worker, pools_of
from app.schemas import HealthAnswer, ReadyAnswer
from app.serving import Engine
from app.store import active_version

router = APIRouter()


@router.get("/health", **declared("health"))
async def health(request: Request) -> Response:
    """Whether the service is up, and the version of its model."""
    answer = HealthAnswer(status="ok", model_version=request.app.state.active.engine.model_version)
    return Response(answer.model_dump_json(), media_type="application/json")


@router.get("/ready", **declared("ready"))
async def ready(request: Request) -> Response:
    """Whether the ledger can be used, 503 if not, and the model that the ledger names serves.

    ``degraded``: the active version cannot be used, another answers in its place, and ``notice`` says why.
    """
    state = request.app.state
    notice = state.active.notice

    def work(engine: Engine) -> ReadyAnswer:
        state.database.read(active_version)
        return ReadyAnswer(
            status="ready" if notice is None else "degraded", model_version=engine.model_version, notice=notice
        )

    return await in_worker(request, pools_of(request).reading, work)
