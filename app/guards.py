"""What is checked before a call reaches its route: where it comes from, and how much it carries."""

from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.problem_handlers import problem_response
from app.problems import Forbidden, TooLarge
from app.settings import is_loopback

JSON_LIMIT_BYTES = 8 * 2**20
# Read and thrown away past the limit, so that a client still sending hears the answer rather than a broken pipe.
DISCARD_LIMIT_BYTES = 64 * 2**20
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


def _from_here(headers: Headers, scheme: str) -> bool:
    """Whether the call names this computer as host and, if a page sent it, comes from a page of this server."""
    host = _host_and_port(headers.get("host", ""), scheme)
    if host is None or not is_loopback(host[0]):
        return False
    origin = headers.get("origin")
    if origin is None:
        return True
    origin_scheme, separator, netloc = origin.partition("://")
    return bool(separator) and origin_scheme in DEFAULT_PORTS and _host_and_port(netloc, origin_scheme) == host


class LoopbackOnly:
    """Refuse calls under a foreign name or from a foreign page.

    Without keys anything on this computer may call. A page of another site must not: it could reach the server
    through the buyer's browser, directly (Origin) or by a name that it makes point here (Host).
    """

    def __init__(self, app: ASGIApp) -> None:
        """Wrap an application."""
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the call on or answer 403."""
        if scope["type"] == "http" and not _from_here(Headers(scope=scope), scope.get("scheme", "http")):
            refusal = Forbidden("Only this computer may call: use http://127.0.0.1 or http://localhost and the port.")
            await problem_response(refusal)(scope, receive, send)
        else:
            await self.app(scope, receive, send)


class BodyLimit:
    """Refuse a body over the limit while it streams in, whatever length it declares."""

    def __init__(self, app: ASGIApp, limit_bytes: int = JSON_LIMIT_BYTES) -> None:
        """Wrap an application."""
        self.app = app
        self.limit_bytes = limit_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the call on, or answer 413 once the body is over the limit."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        declared = Headers(scope=scope).get("content-length", "")
        if declared.isdecimal() and int(declared) > self.limit_bytes:
            await _discard(receive, 0)
            await problem_response(TooLarge(self.limit_bytes))(scope, receive, send)
            return
        n_bytes = 0

        async def limited() -> Message:
            nonlocal n_bytes
            message = await receive()
            n_bytes += len(message.get("body", b""))
            if n_bytes > self.limit_bytes:
                if message.get("more_body", False):
                    await _discard(receive, n_bytes)
                raise TooLarge(self.limit_bytes)
            return message

        await self.app(scope, limited, send)


async def _discard(receive: Receive, n_bytes: int) -> None:
    while n_bytes <= DISCARD_LIMIT_BYTES:
        message = await receive()
        n_bytes += len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body", False):
            return
