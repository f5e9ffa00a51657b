"""The application, started once for all tests, and empty databases of each kind."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import Engine, create_engine, event, make_url, text

from app.main import create_app
from app.settings import Settings
from app.store.database import Database
from tests.app.client import Client, running_client

POSTGRES_VARIABLE = "TRANSIT_TEST_POSTGRES_URL"
REQUIRE_VARIABLE = "TRANSIT_REQUIRE_SERVICES"


@event.listens_for(Engine, "connect")
def _do_not_wait_for_the_disk(connection: Any, _record: object) -> None:
    """What waiting guards against, a computer that loses power, no test can bring about."""
    if isinstance(connection, sqlite3.Connection):
        connection.execute("PRAGMA synchronous = OFF").close()


@pytest.fixture(scope="session")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    """Yield a client of the running application, its ledger empty at first."""
    file = tmp_path_factory.mktemp("ledger") / "transit.db"
    with running_client(create_app(Settings(database_url=f"sqlite:///{file}"))) as started:
        yield started


def postgres_url() -> str:
    """Return the URL of a PostgreSQL database to make schemas in; skip where there is none, or fail if it must be."""
    url = os.environ.get(POSTGRES_VARIABLE)
    if url is None:
        if REQUIRED:
            pytest.fail(f"{POSTGRES_VARIABLE} is not set, and {REQUIRE_VARIABLE} asks for PostgreSQL")
        pytest.skip(f"nothing is tried on PostgreSQL: {POSTGRES_VARIABLE} is not set")
    return url


# Where there is no PostgreSQL its tests are left out, and one test says so in one line.
REQUIRED = os.environ.get(REQUIRE_VARIABLE) == "1"
KINDS = ["sqlite", "postgresql"] if REQUIRED or POSTGRES_VARIABLE in os.environ else ["sqlite"]


# What a fit or an answer says is the same on both, which other tests show: such a test runs on one.
ON_ONE_DATABASE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)


@contextmanager
def new_database(kind: str, folder: Path) -> Iterator[str]:
    """Yield the URL of a database without tables: a file that does not exist yet, or a new schema in PostgreSQL."""
    if kind == "sqlite":
        yield f"sqlite:///{folder / 'ledger.db'}"
        return
    url = make_url(postgres_url())
    schema = f"test_{uuid4().hex}"
    engine = create_engine(url)
    with engine.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {schema}"))
    yield url.update_query_dict({"options": f"-csearch_path={schema}"}).render_as_string(hide_password=False)
    with engine.begin() as connection:
        connection.execute(text(f"DROP SCHEMA {schema} CASCADE"))
    engine.dispose()


@pytest.fixture(params=KINDS)
def database_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Yield the URL of a database without tables."""
    with new_database(request.param, tmp_path) as url:
        yield url


@pytest.fixture(scope="module", params=KINDS)
def module_url(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Yield the URL of a database without tables that the tests of a file share."""
    with new_database(request.param, tmp_path_factory.mktemp("module")) as url:
        yield url


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    """Yield an empty ledger."""
    with Database(database_url) as opened:
        yield opened


@pytest.fixture
def ledger_client(database_url: str) -> Iterator[Client]:
    """Yield a client of an application with an empty ledger of its own."""
    with running_client(create_app(Settings(database_url=database_url))) as started:
        yield started
