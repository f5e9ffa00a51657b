"""What is checked before a call reaches its route: where it comes from, and how much it carries."""

from collections.abc import Callable
from urllib.parse import urlsplit

from anyio import CancelScope, current_time
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.http.problem_handlers import problem_response
from app.problems import Forbidden, TooLarge, TooSlow
from app.settings import is_loopback

JSON_LIMIT_BYTES = 8 * 2**20
# Read and thrown away past its limit, so that a client still sending hears the answer rather than a broken pipe: twice
# as much as the largest body that any path takes.
DISCARD_LIMIT_BYTES = 128 * 2**20
PATIENCE_SECONDS = 30.0
SLOWEST_BYTES_PER_S = 32 * 2**10
DEFAULT_PORTS = {"http": 80, "https": 443}


def _host_and_port(netloc: str, scheme: str) -> tuple[str, int] | None:
    try:
        parts = urlsplit(f"//{netloc}")
        port = parts.port
    except ValueError:
        return None
    if parts.hostname is None or parts.username is not None or parts.path or parts.query or parts.fragment:
        return None
    return parts.hostname, port if port is not None else DEFAULT_PORTS.get(scheme, 80)


def _named_loopback(headers: Headers, scheme: str) -> bool:
    """Whether the call names this computer as its host."""
    host = _host_and_port(headers.get("host", ""), scheme)
    return host is not None and is_loopback(host[0])


def _own_origin(headers: Headers, scheme: str | None) -> bool:
    """Whether the call, if a page sent it, comes from a page of this server.

    Without a scheme the host is read with that of the page: behind a proxy the server cannot tell which one was used.
    """
    origin = headers.get("origin")
    if origin is None:
        return True
    origin_scheme, separator, netloc = origin.partition("://")
    if not separator or origin_scheme not in DEFAULT_PORTS:
        return False
    host = _host_and_port(headers.get("host", ""), scheme or origin_scheme)
    return host is not None and _host_and_port(netloc, origin_scheme) == host


def _never(_scope: Scope) -> bool:
    return False


class LoopbackOnly:
    """Refuse calls under a foreign name or from a foreign page.

    Without keys anything on this computer may call. A page of another site must not: it could reach the server
    through the buyer's browser, directly (Origin) or by a name that it makes point here (Host). Where calls need a key
    the name is free, since a page of another site has none; a foreign page is refused all the same.
    """

    def __init__(self, app: ASGIApp, keys_needed: Callable[[Scope], bool] = _never) -> None:
        """Wrap an application; `keys_needed` tells whether its calls need a key."""
        self.app = app
        self.keys_needed = keys_needed

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the call on or answer 403."""
        if scope["type"] == "http" and (refusal := self._refusal(scope)) is not None:
            await problem_response(refusal)(scope, receive, send)
        else:
            await self.app(scope, receive, send)

    def _refusal(self, scope: Scope) -> Forbidden | None:
        headers, scheme = Headers(scope=scope), scope.get("scheme", "http")
        if self.keys_needed(scope):
            return None if _own_origin(headers, None) else Forbidden("A page of another site may not call.")
        if _named_loopback(headers, scheme) and _own_origin(headers, scheme):
            return None
        return Forbidden("Only this computer may call: use http://127.0.0.1 or http://localhost and the port.")


class BodyLimit:
    """Refuse a body over the limit while it streams in, whatever length it declares, and one that comes too slowly."""

    def __init__(
        self, app: ASGIApp, limit_bytes: int = JSON_LIMIT_BYTES, *, patience_seconds: float = PATIENCE_SECONDS
    ) -> None:
        """Wrap an application; a body may take `patience_seconds`, and more by its length at `SLOWEST_BYTES_PER_S`."""
        self.app = app
        self.limit_bytes = limit_bytes
        self.patience_seconds = patience_seconds

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the call on, or answer 413 once the body is over the limit and 408 once it is too slow."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        body = _Body(receive, self.patience_seconds)
        declared = Headers(scope=scope).get("content-length", "")
        if declared.isdecimal() and int(declared) > self.limit_bytes:
            await body.discard()
            await problem_response(TooLarge(self.limit_bytes))(scope, receive, send)
            return

        async def limited() -> Message:
            message = await body.receive()
            if body.n_bytes > self.limit_bytes:
                await body.discard()
                raise TooLarge(self.limit_bytes)
            return message

        await self.app(scope, limited, send)


class _Body:
    """A body as it comes in, its bytes counted and its time bounded."""

    def __init__(self, receive: Receive, patience_seconds: float) -> None:
        self._receive = receive
        self._begun = current_time()
        self._patience_seconds = patience_seconds
        self._complete = False
        self.n_bytes = 0

    async def receive(self) -> Message:
        """Return the next message.

        Raises
        ------
        TooSlow
            If it does not come in time.
        """
        if self._complete:
            # What comes now is the end of the connection, and that may take as long as the answer.
            return await self._receive()
        deadline = self._begun + self._patience_seconds + self.n_bytes / SLOWEST_BYTES_PER_S
        with CancelScope(deadline=deadline) as waiting:
            message = await self._receive()
        if waiting.cancelled_caught:
            self._complete = True
            raise TooSlow
        self.n_bytes += len(message.get("body", b""))
        self._complete = message["type"] != "http.request" or not message.get("more_body", False)
        return message

    async def discard(self) -> None:
        """Read the rest and throw it away, up to a limit and while it comes in time."""
        while not self._complete and self.n_bytes <= DISCARD_LIMIT_BYTES:
            try:
                await self.receive()
            except TooSlow:
                return
