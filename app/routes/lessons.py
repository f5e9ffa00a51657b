"""What own boxes teach, as things to do."""

from fastapi import APIRouter, Request, Response

from app.http import declared, in_worker, pools_of
from app.lessons import answer_lessons

router = APIRouter()


@router.get("/v1/lessons", **declared("lessons"))
async def lessons(request: Request) -> Response:
    """What to do with which seller, plant and packing, by own boxes; and which boxes were perhaps lost whole."""
    reading = pools_of(request).reading
    return await in_worker(request, reading, lambda engine: answer_lessons(request.app.state.database, engine))
