"""Calls whose end is not plain are not read on: what follows could be taken for another call."""

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from app.http.problem_handlers import problem_response
from app.problems import AmbiguousLength


class OneLength:
    """Refuse a body with a length and in chunks (RFC 9112, section 6.1: smuggling), and close the connection."""

    def __init__(self, app: ASGIApp) -> None:
        """Wrap an application."""
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the call on or answer 400."""
        if scope["type"] == "http":
            headers = Headers(scope=scope)
            if "transfer-encoding" in headers and "content-length" in headers:
                await problem_response(AmbiguousLength(), {"Connection": "close"})(scope, receive, send)
                return
        await self.app(scope, receive, send)
