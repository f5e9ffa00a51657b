"""``GET /v1/forecast/{place}``."""

from anyio import to_thread
from fastapi import APIRouter, Request, Response

from app.services.forecast import answer_forecast

router = APIRouter()


@router.get("/v1/forecast/{place}", include_in_schema=False)
async def forecast(request: Request, place: str) -> Response:
    """The forecast of a place from the weather service that is set, in the form that requests take."""
    state = request.app.state
    reference = state.active.engine.reference
    # Not among the workers: waiting for another server costs no processor and must hold up no answer.
    answer = await to_thread.run_sync(answer_forecast, place, state.settings.weather_service, reference)
    return Response(answer.model_dump_json(), media_type="application/json")
