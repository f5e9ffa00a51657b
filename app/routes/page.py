"""``GET /``: the buyer's page, and its files under ``/page``."""

from anyio import to_thread
from fastapi import APIRouter, Request, Response

from app.page import PATH, SCRIPT_HEADERS, PageFiles, service_worker

FILES = PageFiles()

router = APIRouter()


@router.get("/", include_in_schema=False)
async def page(request: Request) -> Response:
    """Return the page."""
    return await FILES.get_response("index.html", request.scope)


@router.get(PATH, include_in_schema=False)
async def worker() -> Response:
    """Return the script that keeps the page's files for when there is no connection."""
    script = await to_thread.run_sync(service_worker)
    return Response(script, headers=SCRIPT_HEADERS, media_type="text/javascript")
