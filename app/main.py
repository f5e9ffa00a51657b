"""The application, built on request."""

import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import PackageNotFoundError, version

from anyio import CapacityLimiter, to_thread
from fastapi import FastAPI

from app.body_limits import BodyLimits
from app.engine import Engine
from app.guards import LoopbackOnly
from app.problem_handlers import add_problem_handlers
from app.routes import compare, docs, hold, model_page, order_size, reference, risk, shipments
from app.settings import Settings
from app.store.database import Database


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    # Answers are bound by the processor: more threads than cores would only hold more draws in memory.
    app.state.workers = CapacityLimiter(max(2, os.cpu_count() or 1))
    app.state.engine = Engine.load()
    with Database(app.state.settings.database_url) as database:
        await to_thread.run_sync(database.prepare_if_present)
        app.state.database = database
        yield


def _version() -> str:
    try:
        return version("transit-survival")
    except PackageNotFoundError:
        return "0 (run from the source tree)"


def create_app(settings: Settings) -> FastAPI:
    """Return the application; its model and its ledger are opened when the server starts it."""
    app = FastAPI(
        title="Transit survival",
        version=_version(),
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
    app.add_middleware(LoopbackOnly)
    for module in (risk, compare, hold, order_size, reference, model_page, shipments, docs):
        app.include_router(module.router)
    return app
