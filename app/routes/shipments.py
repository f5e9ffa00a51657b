"""``POST /v1/shipments/import`` and ``GET /v1/shipments/export``."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from app.clock import moment
from app.http import CSV_TYPE, declared, pools_of
from app.ledger import DateOrder, empty_csv, export_csv, import_checked
from app.problems import UnsupportedMediaType
from app.schemas import ImportAnswer

CSV_LIMIT_BYTES = 64 * 2**20
IMPORT_PATH = "/v1/shipments/import"

router = APIRouter()


@router.post(IMPORT_PATH, **declared("import_shipments"))
async def import_shipments(
    request: Request,
    replace: Annotated[bool, Query(description="replace shipments that differ, and keep their history")] = False,
    dates: Annotated[DateOrder | None, Query(description="what stands first in dates such as 03/04/2027")] = None,
) -> Response:
    """Take a CSV file of arrived shipments into the ledger, all or nothing; one that differs is a 409.

    A bad cell is a 422 that lists all of them with row and column. Dates that may be read in two ways have the code
    ``ambiguous_date``: ask, and send the file again with ``dates``. Rows that do not fit what else is known are taken
    in and listed as ``doubtful`` with the likeliest slip.
    """
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() not in ("", CSV_TYPE):
        raise UnsupportedMediaType("CSV", CSV_TYPE)
    data = await request.body()
    state = request.app.state
    engine = state.active.engine

    def work() -> ImportAnswer:
        return import_checked(
            data, state.database, engine, replace=replace, now=moment(state.settings.now), dates=dates
        )

    answer = await pools_of(request).changing.run(request, work)
    return Response(answer.model_dump_json(), media_type="application/json")


@router.get("/v1/shipments/export", **declared("export_shipments"))
async def export_shipments(
    request: Request,
    empty: Annotated[bool, Query(description="only the columns that an import needs, to start from")] = False,
) -> Response:
    """Return all arrived shipments as CSV."""
    database = request.app.state.database
    work = empty_csv if empty else lambda: export_csv(database)
    content = await pools_of(request).reading.run(request, work)
    headers = {"Content-Disposition": 'attachment; filename="shipments.csv"'}
    return Response(content, media_type=f"{CSV_TYPE}; charset=utf-8", headers=headers)
