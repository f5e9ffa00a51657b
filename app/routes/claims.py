"""``GET /v1/shipments/{id}/claim``, as data or as a page to print."""

from fastapi import APIRouter, Request, Response

from app.claims import CLAIM_HEADERS, answer_claim, claim_page
from app.clock import moment
from app.http import declared, pools_of, prefers_html

VARY = {"Vary": "Accept"}

router = APIRouter()


@router.get("/v1/shipments/{shipment_id}/claim", **declared("claim"))
async def claim(request: Request, shipment_id: str) -> Response:
    """What can be claimed for an arrived box, of whom and until when; with ``Accept: text/html`` a page to print."""
    state = request.app.state
    engine = state.active.engine
    page = prefers_html(", ".join(request.headers.getlist("accept")))

    def work() -> bytes:
        answer = answer_claim(state.database, engine, shipment_id, moment(state.settings.now))
        return claim_page(answer).encode() if page else answer.model_dump_json().encode()

    content = await pools_of(request).reading.run(request, work)
    if page:
        return Response(content, headers=VARY | CLAIM_HEADERS, media_type="text/html; charset=utf-8")
    return Response(content, headers=VARY, media_type="application/json")
