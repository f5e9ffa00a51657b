"""``GET /docs`` and ``GET /openapi.json``."""

import json

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from app.http import DOCS_HEADERS, docs_page, openapi_document

router = APIRouter()


@router.get("/openapi.json", include_in_schema=False)
def openapi_json(request: Request) -> Response:
    """Return the OpenAPI document."""
    return Response(json.dumps(openapi_document(request.app)), media_type="application/json")


@router.get("/docs", include_in_schema=False)
def docs(request: Request) -> HTMLResponse:
    """Return the documentation page."""
    return HTMLResponse(docs_page(openapi_document(request.app)), headers=DOCS_HEADERS)
