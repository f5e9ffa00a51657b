"""``POST /v1/shipments/import`` and ``GET /v1/shipments/export``."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from app.clock import moment
from app.http import CSV_TYPE, declared, pools_of
from app.ledger import export_csv, import_checked
from app.problems import UnsupportedMediaType
from app.schemas import ImportAnswer

CSV_LIMIT_BYTES = 64 * 2**20
IMPORT_PATH = "/v1/shipments/import"

router = APIRouter()


@router.post(IMPORT_PATH, **declared("import_shipments"))
async def import_shipments(
    request: Request,
    replace: Annotated[bool, Query(description="replace shipments that differ, and keep their history")] = False,
) -> Response:
    """Take a CSV file of arrived shipments into the ledger, all or nothing; one that differs is a 409.

    A bad cell is a 422 that lists all of them with row and column. Rows that do not fit what else is known are taken in
    and listed as ``doubtful`` with the likeliest slip.
    """
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() not in ("", CSV_TYPE):
        raise UnsupportedMediaType("CSV", CSV_TYPE)
    data = await request.body()
    state = request.app.state
    engine = state.active.engine

    def work() -> ImportAnswer:
        return import_checked(data, state.database, engine, replace=replace, now=moment(state.settings.now))

    answer = await pools_of(request).changing.run(request, work)
    return Response(answer.model_dump_json(), media_type="application/json")


@router.get("/v1/shipments/export", **declared("export_shipments"))
async def export_shipments(request: Request) -> Response:
    """Return all arrived shipments as CSV."""
    database = request.app.state.database
    content = await pools_of(request).reading.run(request, lambda: export_csv(database))
    headers = {"Content-Disposition": 'attachment; filename="shipments.csv"'}
    return Response(content, media_type=f"{CSV_TYPE}; charset=utf-8", headers=headers)
