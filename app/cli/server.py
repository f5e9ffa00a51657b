"""Running the server."""

import asyncio
import logging
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from socket import IPPROTO_TCP, socket
from threading import Timer
from types import FrameType

import uvicorn
from fastapi import FastAPI
from uvicorn.protocols.http.h11_impl import H11Protocol

from app.cli.workers import Workers
from app.log_lines import log_config
from app.main import create_app
from app.settings import Settings

LOG = logging.getLogger("uvicorn.error")

KEEP_ALIVE_SECONDS = 5
# For the head of a request, counted from the first byte, or from the connection; bodies have time of their own.
HEAD_SECONDS = 15.0
# After being told to stop: for calls under way, of which the longest computes for about five seconds; and for all.
GRACE_SECONDS = 6
STOP_SECONDS = 13.0
FORCED = 1
NOT_STARTED = 3
# Connections that wait to be taken: uvicorn's own number.
BACKLOG = 2048


class PatientProtocol(H11Protocol):
    """HTTP/1.1 whose patience has an end: uvicorn has limits for silence after an answer, none before a request.

    A connection is closed after `head_seconds` in which its client has sent something, or nothing since it came, and
    no call came of it: half a head, or what is left of a body whose call has been answered already.
    """

    head_seconds = HEAD_SECONDS
    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait."""
        super().connection_made(transport)
        self._wait_or_serve()

    def data_received(self, data: bytes) -> None:
        """Take what was sent."""
        super().data_received(data)
        self._wait_or_serve()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop waiting."""
        super().connection_lost(exc)
        self._stop_waiting()

    @property
    def _serving(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _wait_or_serve(self) -> None:
        if self._serving:
            self._stop_waiting()
        elif self._waiting is None:
            self._waiting = self.loop.call_later(self.head_seconds, self._give_up)

    def _stop_waiting(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None

    def _give_up(self) -> None:
        self._waiting = None
        if not self._serving:
            self.transport.close()


class PunctualServer(uvicorn.Server):
    """A server that ends when it is told to, whatever waits or runs.

    Refits are told to stop at once, so that who waits for one hears of it; calls under way have `GRACE_SECONDS`; a
    thread that is still held up after `STOP_SECONDS`, by a lock of the ledger for instance, is left.
    """

    def __init__(self, config: uvicorn.Config, app: FastAPI, on_start: Callable[[], object] = lambda: None) -> None:
        """Take the application that `config` serves, and what to do once it answers."""
        super().__init__(config)
        self._app, self._on_start = app, on_start

    async def startup(self, sockets: list[socket] | None = None) -> None:
        """Begin to answer."""
        await super().startup(sockets)
        if self.started:
            self._on_start()

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Begin to stop, and count the time."""
        if not self.should_exit:
            timer = Timer(STOP_SECONDS, self._end)
            timer.daemon = True
            timer.start()
        super().handle_exit(sig, frame)

    async def shutdown(self, sockets: list[socket] | None = None) -> None:
        """Stop refits, then answer what is left to answer."""
        self._app.state.refits.begin_stop()
        await super().shutdown(sockets)

    def _end(self) -> None:
        LOG.error("ended after %.0f seconds with work under way: what was not acknowledged was not done", STOP_SECONDS)
        if self.started:
            self._app.state.refits.kill()
        logging.shutdown()
        os._exit(FORCED)


def serve(settings: Settings) -> None:
    """Serve until stopped, in as many processes as the settings say."""
    if settings.workers > 1:
        _serve_by_workers(settings)
        return
    app = create_app(settings)
    server = PunctualServer(_config(settings, app), app)
    with suppress(KeyboardInterrupt):
        server.run()
    if not server.started:
        sys.exit(NOT_STARTED)


def _config(settings: Settings, app: FastAPI) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        loop="asyncio",
        http=PatientProtocol,
        ws="none",
        server_header=False,
        log_config=log_config(settings.log_format),
        access_log=False,  # `app.http.CallLog` leaves a line a call
        forwarded_allow_ips=settings.trusted_proxies,
        timeout_keep_alive=KEEP_ALIVE_SECONDS,
        timeout_graceful_shutdown=GRACE_SECONDS,
    )


def _serve_by_workers(settings: Settings) -> None:
    """Listen, and leave the answers to other processes; this one holds no model and opens no ledger."""
    bound = _config(settings, FastAPI()).bind_socket()
    # asyncio sends small answers at once only of sockets that are said to be TCP; others wait 40 ms for each.
    with socket(bound.family, bound.type, IPPROTO_TCP, fileno=bound.detach()) as listening:
        # Who calls before the first worker is ready waits for it.
        listening.listen(BACKLOG)
        if not Workers(serve_at, (settings, listening), settings.workers).run():
            sys.exit(NOT_STARTED)


def serve_at(settings: Settings, listening: socket, answers: Callable[[], object]) -> None:
    """Serve at a socket until stopped, in a worker process; `answers` is called once it answers."""
    app = create_app(settings)
    server = PunctualServer(_config(settings, app), app, on_start=answers)
    with suppress(KeyboardInterrupt):
        server.run([listening])
    if not server.started:
        sys.exit(NOT_STARTED)
