"""The application, built on request."""

import asyncio
import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from anyio import CapacityLimiter, to_thread
from fastapi import FastAPI

from app.access import NeedsKey, keys_needed
from app.active_model import ActiveModel
from app.api_keys import KeyRing
from app.artifacts import package_version
from app.body_limits import BodyLimits
from app.guards import LoopbackOnly
from app.page.files import PREFIX, Compressed
from app.problem_handlers import add_problem_handlers
from app.refit_process import RefitProcesses
from app.routes import (
    claims,
    compare,
    docs,
    forecast,
    hold,
    model_page,
    model_versions,
    order_size,
    outlook,
    page,
    reference,
    risk,
    sellers,
    shipment_life,
    shipments,
    track_record,
    wish_list,
)
from app.security_headers import SecurityHeaders
from app.services.track_record import TrackRecord
from app.settings import Settings, is_loopback
from app.store.database import Database


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    # Answers are bound by the processor: more threads than cores would only hold more draws in memory.
    app.state.workers = CapacityLimiter(max(2, os.cpu_count() or 1))
    settings: Settings = app.state.settings
    with Database(settings.database_url) as database:
        await to_thread.run_sync(database.prepare_if_present)
        active = ActiveModel(database)
        keys = KeyRing(database, always=not is_loopback(settings.host))
        await to_thread.run_sync(active.refresh)
        await to_thread.run_sync(keys.refresh)
        app.state.database, app.state.active, app.state.keys = database, active, keys
        app.state.track_record = TrackRecord(database)
        app.state.refits = RefitProcesses(settings, database, on_end=active.refresh)
        following = [asyncio.create_task(active.follow()), asyncio.create_task(keys.follow())]
        try:
            yield
        finally:
            for task in following:
                task.cancel()
            # A look-up under way ends before the database is closed under it.
            await asyncio.gather(*following, return_exceptions=True)
            await to_thread.run_sync(app.state.refits.close)


def create_app(settings: Settings) -> FastAPI:
    """Return the application; its model and its ledger are opened when the server starts it."""
    app = FastAPI(
        title="Transit survival",
        version=package_version(),
        description="The chance that mail-ordered tropical plants arrive alive, and what to do about it.",
        lifespan=_lifespan,
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
    )
    app.state.settings = settings
    add_problem_handlers(app)
    app.add_middleware(BodyLimits, of_path={shipments.IMPORT_PATH: shipments.CSV_LIMIT_BYTES})
    app.add_middleware(NeedsKey)
    app.add_middleware(LoopbackOnly, keys_needed=keys_needed)
    app.add_middleware(Compressed)
    app.add_middleware(SecurityHeaders)
    answering = (
        risk,
        compare,
        hold,
        order_size,
        reference,
        model_page,
        model_versions,
        sellers,
        track_record,
        forecast,
        docs,
        page,
    )
    # A fixed path goes before the path of any shipment.
    for module in (*answering, shipments, shipment_life, outlook, wish_list, claims):
        app.include_router(module.router)
    app.mount(PREFIX, page.FILES)
    return app
