"""The application, started once for all tests."""

from collections.abc import Iterator

import pytest

from app.main import create_app
from app.settings import Settings
from tests.app.client import Client, running_client


@pytest.fixture(scope="session")
def client() -> Iterator[Client]:
    """Yield a client of the running application."""
    with running_client(create_app(Settings())) as started:
        yield started
