"""``GET /v1/shipments/{id}/outlook``."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from app.clock import moment
from app.http import declared, in_worker, pools_of
from app.outlook import answer_outlook, moment_of
from app.schemas import OutlookAnswer
from app.serving import Engine

At = Annotated[str | None, Query(description="a moment of ISO 8601 with its offset; now unless given")]

router = APIRouter()


@router.get("/v1/shipments/{shipment_id}/outlook", **declared("outlook"))
async def outlook(request: Request, shipment_id: str, at: At = None) -> Response:
    """A box in transit: days left, chance to arrive by each day, chances of its plants, and what would help now.

    All of it given that the box has not arrived at the moment ``at`` (ISO 8601 with an offset, now unless given).
    Events after that moment do not count.
    """

    def work(engine: Engine) -> OutlookAnswer:
        state = request.app.state
        asked = None if at is None else moment_of(at)
        return answer_outlook(state.database, shipment_id, asked, engine, moment(state.settings.now))

    return await in_worker(request, pools_of(request).computing, work)
