"""``GET /``: the buyer's page, and its files under ``/page``."""

from fastapi import APIRouter, Request, Response

from app.page.files import PageFiles

FILES = PageFiles()

router = APIRouter()


@router.get("/", include_in_schema=False)
async def page(request: Request) -> Response:
    """Return the page."""
    return await FILES.get_response("index.html", request.scope)
