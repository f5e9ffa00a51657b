"""The reference lists."""

from fastapi import APIRouter, Request, Response

from app.openapi import declared
from app.routes.exchange import in_worker
from app.schemas.reference import GeneraAnswer, PackingsAnswer, PlacesAnswer, ServicesAnswer
from app.services import reference

router = APIRouter()


@router.get("/v1/genera", **declared("genera"))
async def genera(request: Request) -> Response:
    """Genera of the trade: growth group, time ratio, chilling threshold."""
    return await in_worker(request, lambda engine: GeneraAnswer(items=reference.genera(engine)))


@router.get("/v1/packings", **declared("packings"))
async def packings(request: Request) -> Response:
    """Containers and root treatments."""
    return await in_worker(request, lambda engine: PackingsAnswer(items=reference.packings(engine)))


@router.get("/v1/places", **declared("places"))
async def places(request: Request) -> Response:
    """Gateways with their time zone and monthly normals."""
    return await in_worker(request, lambda engine: PlacesAnswer(items=reference.places(engine)))


@router.get("/v1/services", **declared("services"))
async def services(request: Request) -> Response:
    """Services with their transit times, delays and legs."""
    return await in_worker(request, lambda engine: ServicesAnswer(items=reference.services(engine)))
