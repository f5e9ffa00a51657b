"""Sellers of the ledger."""

from urllib.parse import quote

from fastapi import APIRouter, Request, Response

from app.clock import moment
from app.http import conditions_of, declared, in_worker, is_json, pools_of
from app.problems import UnsupportedMediaType
from app.schemas import SellerAnswer
from app.sellers import answer_seller, answer_sellers, put_seller

CREATED, CHANGED = 201, 200

router = APIRouter()


@router.get("/v1/sellers", **declared("sellers"))
async def sellers(request: Request) -> Response:
    """All sellers of the ledger, each with what its boxes showed."""
    reading = pools_of(request).reading
    return await in_worker(request, reading, lambda engine: answer_sellers(request.app.state.database, engine))


@router.get("/v1/sellers/{name:path}", **declared("seller"))
async def seller(request: Request, name: str) -> Response:
    """One seller, by any spelling of its name."""
    state = request.app.state
    engine = state.active.engine
    answer = await pools_of(request).reading.run(request, lambda: answer_seller(state.database, engine, name))
    return _said(answer)


@router.put("/v1/sellers/{name:path}", **declared("record_seller"))
async def record_seller(request: Request, name: str) -> Response:
    """Record a seller, or replace what is recorded of it.

    A new one (201) needs ``If-None-Match: *``, a change (200) ``If-Match`` with the ETag of a GET; 428 without either,
    412 where it is there already or was changed meanwhile.
    """
    if not is_json(request.headers.get("content-type", "")):
        raise UnsupportedMediaType
    data = await request.body()
    state, preconditions = request.app.state, conditions_of(request.headers)
    engine = state.active.engine

    def work() -> tuple[SellerAnswer, bool]:
        stored, new = put_seller(state.database, name, preconditions, data, now=moment(state.settings.now))
        return answer_seller(state.database, engine, stored.details.name), new

    answer, new = await pools_of(request).changing.run(request, work)
    return _said(answer, CREATED if new else CHANGED)


def _said(answer: SellerAnswer, status: int = CHANGED) -> Response:
    headers = {"ETag": answer.etag}
    if status == CREATED:
        headers["Location"] = f"/v1/sellers/{quote(answer.name, safe='')}"
    return Response(answer.model_dump_json(), status, headers, media_type="application/json")
