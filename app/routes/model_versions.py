"""Refits and versions of the model."""

from contextlib import suppress
from functools import partial
from typing import Annotated

from anyio import sleep
from fastapi import APIRouter, Query, Request, Response
from starlette.datastructures import State

from app.doubts import doubtful_records
from app.http import declared, in_worker, note_waiting, pools_of
from app.problems import Busy
from app.schemas import RefitAnswer
from app.serving import (
    Engine,
    activate,
    answer_versions,
    find_refit,
    learn_by_itself,
    refit_answer,
    request_refit,
)
from app.store import Refit

POLL_SECONDS = 0.25
ACCEPTED, DONE = 202, 200

router = APIRouter()


@router.post("/v1/model/refit", **declared("refit"))
async def refit(
    request: Request, wait: Annotated[bool, Query(description="answer when it is done, with 200")] = False
) -> Response:
    """Fit the model to the boxes of the ledger in another process; ``Location`` is where to ask how it goes."""
    state = request.app.state
    if wait:
        note_waiting()

    def begin() -> Refit:
        asked, new = request_refit(state.database)
        if new:
            state.refits.start(asked.id)
        return find_refit(state.database, asked.id)

    pools = pools_of(request)
    found = await pools.changing.run(request, begin)
    while wait and not found.is_finished and not state.refits.stopping and not await request.is_disconnected():
        await sleep(POLL_SECONDS)
        with suppress(Busy):  # looked for again in a moment
            found = await pools.reading.run(request, partial(find_refit, state.database, found.id))
    answer = await pools.reading.run(request, partial(_told, state, found))
    return Response(
        answer.model_dump_json(),
        # A server that stops says how far it is; the next one takes the refit up.
        status_code=DONE if wait and found.is_finished else ACCEPTED,
        headers={"Location": f"/v1/model/refits/{found.id}"},
        media_type="application/json",
    )


@router.get("/v1/model/refits/{refit_id}", **declared("refit_state"))
async def refit_state(request: Request, refit_id: str) -> Response:
    """How a refit goes, or went; once it is told that a version was activated, that version answers."""
    state = request.app.state
    return await in_worker(
        request, pools_of(request).reading, lambda _: _told(state, find_refit(state.database, refit_id))
    )


def _told(state: State, found: Refit) -> RefitAnswer:
    if found.is_finished:
        state.active.refresh()
    return refit_answer(found, doubtful_records(state.database))


@router.get("/v1/model/versions", **declared("model_versions"))
async def versions(request: Request) -> Response:
    """All versions of the model, the newest first; the last is the rules of thumb alone."""
    reading = pools_of(request).reading
    return await in_worker(request, reading, lambda engine: answer_versions(request.app.state.database, engine))


@router.post("/v1/model/versions/{version}/activate", **declared("activate_version"))
async def activate_version(request: Request, version: str) -> Response:
    """Serve a version from now on, also an earlier one, or the rules of thumb again.

    Going back behind newer versions that were good enough holds: refits that nobody asks for go on, are kept, and
    activate nothing until the newest is activated, one that was asked for passes, or DELETE /v1/model/hold. ``held``
    says so.
    """
    state = request.app.state

    def work(_: object) -> bytes:
        activate(state.database, version, state.active.engine.reference)
        return answer_versions(state.database, state.active.refresh()).model_dump_json().encode()

    return await in_worker(request, pools_of(request).changing, work)


@router.delete("/v1/model/hold", **declared("end_hold"))
async def end_hold(request: Request) -> Response:
    """Let refits activate what they store again; the version gone back to answers until one does."""
    database = request.app.state.database

    def work(engine: Engine) -> bytes:
        learn_by_itself(database)
        return answer_versions(database, engine).model_dump_json().encode()

    return await in_worker(request, pools_of(request).changing, work)
