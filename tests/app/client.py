"""A client of the whole application, in process: httpx on the ASGI app, its lifespan run once."""

from collections.abc import Awaitable, Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from functools import partial
from typing import Any

import httpx
from anyio.from_thread import BlockingPortal, start_blocking_portal
from fastapi import FastAPI

BASE_URL = "http://127.0.0.1:8000"


class Client:
    """Calls an ASGI application that runs in the event loop of a portal."""

    def __init__(self, app: FastAPI, portal: BlockingPortal, address: str = "127.0.0.1") -> None:
        """Take the application, the portal that runs it, and the address that calls come from."""
        self.app = app
        self._portal = portal
        # Like the server, answer an unexpected exception with a 500 instead of raising it here.
        transport = httpx.ASGITransport(app, raise_app_exceptions=False, client=(address, 123))
        self._client = httpx.AsyncClient(transport=transport, base_url=BASE_URL)

    def at(self, address: str) -> "Client":
        """Return a client of the same application that calls from another address."""
        return Client(self.app, self._portal, address)

    def request(self, method: str, path: str, **arguments: Any) -> httpx.Response:
        """Call and return the response."""
        return self._portal.call(partial(self._client.request, method, path, **arguments))

    def start(self, method: str, path: str, **arguments: Any) -> Future[httpx.Response]:
        """Call and return at once; the response is in the future's result."""
        return self._portal.start_task_soon(partial(self._client.request, method, path, **arguments))

    def start_task(self, task: Callable[[], Awaitable[object]]) -> Future[object]:
        """Run a coroutine function in the application's event loop, and do not wait for it."""
        return self._portal.start_task_soon(task)

    def get(self, path: str, **arguments: Any) -> httpx.Response:
        """GET."""
        return self.request("GET", path, **arguments)

    def post(self, path: str, **arguments: Any) -> httpx.Response:
        """POST."""
        return self.request("POST", path, **arguments)


@contextmanager
def running_client(app: FastAPI) -> Iterator[Client]:
    """Start an application and yield its client."""
    with start_blocking_portal() as portal, portal.wrap_async_context_manager(app.router.lifespan_context(app)):
        client = Client(app, portal)
        # The framework completes its routes at the first call, with warnings silenced for all threads: two applications
        # that did so at once would let a warning through, which fails a test.
        client.get("/no-such-path")
        yield client
