"""``POST /v1/order-size``."""

from fastapi import APIRouter, Request, Response

from app.openapi import declared
from app.request_body import RequestBody
from app.routes.exchange import exchange, with_seller_record
from app.schemas.order_size import OrderSizeRequest
from app.services.order_size import answer_order_size

router = APIRouter()
BODY = RequestBody(OrderSizeRequest)


@router.post("/v1/order-size", **declared("order_size"))
async def order_size(request: Request) -> Response:
    """How many to order so that enough arrive healthy, and what that costs."""
    return await exchange(request, BODY, with_seller_record(request, answer_order_size))
