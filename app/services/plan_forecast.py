"""The forecast of a plan, as it is stored."""

import json
from typing import NamedTuple

from app.engine import Engine
from app.schemas.compare import CompareRequest
from app.services.compare import answer_compare


class PlanForecast(NamedTuple):
    """A forecast as JSON."""

    answer_json: str


def plan_forecast(request: CompareRequest, engine: Engine) -> PlanForecast:
    """Return the forecast of the one route of a plan."""
    answer = answer_compare(request, engine)
    outcome = answer.routes[0].model_dump(mode="json", by_alias=True)
    return PlanForecast(json.dumps(outcome | {"model_version": engine.model_version, "seed": request.seed}))
