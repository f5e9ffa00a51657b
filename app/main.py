"""The application, built on request."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial

from anyio import move_on_after, to_thread
from fastapi import FastAPI

from app.clock import moment
from app.http import (
    BodyLimits,
    CallLog,
    KeyRing,
    LoopbackOnly,
    Metrics,
    NeedsKey,
    OneLength,
    Pools,
    RateLimits,
    SecurityHeaders,
    WrongKeys,
    add_problem_handlers,
    keys_needed,
)
from app.page import PREFIX, Compressed
from app.risk import KnownAnswers
from app.routes import (
    calendars,
    claims,
    docs,
    health,
    lessons,
    metrics,
    model_versions,
    outlook,
    page,
    questions,
    sellers,
    shipment_life,
    shipments,
)
from app.serving import ActiveModel, RefitProcesses, SelfLearning, package_version
from app.settings import Settings, is_loopback
from app.store import Database
from app.track_record import TrackRecord

LOOK_UP_SECONDS = 2.0
WRITE_SECONDS = 1.0
DESCRIPTION = (
    "The chance that mail-ordered tropical plants arrive alive, and what to do about it. Every answer has a header "
    "X-Request-ID, the one of the call where it sends a valid one (1 to 128 letters, digits and ._:/+=@-): the log of "
    "the server has it too."
)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    app.state.pools = Pools.of_this_computer()
    settings: Settings = app.state.settings
    with Database(settings.database_url) as database:
        await to_thread.run_sync(database.prepare_if_present)
        active = ActiveModel(database)
        keys = KeyRing(database, always=not is_loopback(settings.host), now=partial(moment, settings.now))
        await to_thread.run_sync(active.refresh)
        await to_thread.run_sync(keys.refresh)
        app.state.database, app.state.active, app.state.keys = database, active, keys
        app.state.track_record = TrackRecord(database)
        app.state.refits = RefitProcesses(settings, database, on_end=active.refresh)
        learning = SelfLearning(settings, database, active, app.state.refits)
        followed = (active.follow(learning.look), keys.follow(), keys.follow_uses())
        following = [asyncio.create_task(task) for task in followed]
        try:
            yield
        finally:
            for task in following:
                task.cancel()
            # A look-up under way ends before the database is closed under it, unless it waits for a lock.
            await asyncio.wait(following, timeout=LOOK_UP_SECONDS)
            with move_on_after(WRITE_SECONDS):
                await to_thread.run_sync(keys.write_uses, abandon_on_cancel=True)
            await to_thread.run_sync(app.state.refits.close)


def create_app(settings: Settings) -> FastAPI:
    """Return the application; its model and its ledger are opened when the server starts it."""
    app = FastAPI(
        title="Transit survival",
        version=package_version(),
        description=DESCRIPTION,
        lifespan=_lifespan,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    app.state.settings, app.state.metrics, app.state.known_risk = settings, Metrics(), KnownAnswers()
    add_problem_handlers(app)
    app.add_middleware(BodyLimits, of_path={shipments.IMPORT_PATH: shipments.CSV_LIMIT_BYTES})
    app.add_middleware(NeedsKey, limits=RateLimits(settings.key_calls_a_minute), wrong=WrongKeys())
    app.add_middleware(LoopbackOnly, keys_needed=keys_needed)
    app.add_middleware(OneLength)
    app.add_middleware(Compressed)
    app.add_middleware(SecurityHeaders)
    app.add_middleware(CallLog, slow_seconds=settings.slow_seconds, files=PREFIX)
    answering = (
        questions,
        lessons,
        model_versions,
        sellers,
        docs,
        health,
        metrics,
        page,
    )
    # A fixed path goes before the path of any shipment.
    for module in (*answering, shipments, calendars, shipment_life, outlook, claims):
        app.include_router(module.router)
    app.mount(PREFIX, page.FILES)
    return app
