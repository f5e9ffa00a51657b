"""``GET /page/print.css``: the style sheet of pages to print."""

from functools import cache
from importlib import resources

from fastapi import APIRouter, Response

HEADERS = {"X-Content-Type-Options": "nosniff", "Cache-Control": "no-cache"}

router = APIRouter()


@cache
def _style() -> bytes:
    return resources.files("app.page").joinpath("static", "print.css").read_bytes()


@router.get("/page/print.css", include_in_schema=False)
def print_style() -> Response:
    """Return the style sheet."""
    return Response(_style(), headers=HEADERS, media_type="text/css")
