"""``POST /v1/wish-list``."""

from fastapi import APIRouter, Request, Response

from app.openapi import declared
from app.request_body import RequestBody
from app.routes.exchange import exchange, with_seller_record
from app.schemas.wish_list import WishListRequest
from app.services.wish_list import answer_wish_list

router = APIRouter()
BODY = RequestBody(WishListRequest)


@router.post("/v1/wish-list", **declared("wish_list"))
async def wish_list(request: Request) -> Response:
    """What to order: what each line brings on each route, which lines lose money, and how many reach what is wanted."""
    return await exchange(request, BODY, with_seller_record(request, answer_wish_list))
