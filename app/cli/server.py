"""Running the server."""

import asyncio

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from app.main import create_app
from app.settings import Settings

KEEP_ALIVE_SECONDS = 5
# For the head of a request, counted from the first byte, or from the connection; bodies have time of their own.
HEAD_SECONDS = 15.0


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


def serve(settings: Settings) -> None:
    """Serve until stopped."""
    uvicorn.run(
        create_app(settings),
        host=settings.host,
        port=settings.port,
        loop="asyncio",
        http=PatientProtocol,
        ws="none",
        server_header=False,
        timeout_keep_alive=KEEP_ALIVE_SECONDS,
    )
