"""Sellers of the ledger."""

from fastapi import APIRouter, Request, Response

from app.openapi import declared
from app.routes.exchange import in_worker
from app.services.sellers import answer_seller, answer_sellers

router = APIRouter()


@router.get("/v1/sellers", **declared("sellers"))
async def sellers(request: Request) -> Response:
    """All sellers of the ledger, each with its time ratio and the boxes behind it."""
    return await in_worker(request, lambda engine: answer_sellers(request.app.state.database, engine))


@router.get("/v1/sellers/{name:path}", include_in_schema=False)
async def seller(request: Request, name: str) -> Response:
    """One seller, by any spelling of its name."""
    return await in_worker(request, lambda engine: answer_seller(request.app.state.database, engine, name))
