"""How much a body may carry, by where it goes."""

from collections.abc import Mapping

from starlette.types import ASGIApp, Receive, Scope, Send

from app.http.guards import BodyLimit


class BodyLimits:
    """Refuse bodies over the limit of their path; paths without one of their own take the limit of JSON bodies."""

    def __init__(self, app: ASGIApp, of_path: Mapping[str, int]) -> None:
        """Wrap an application; `of_path` gives limits in bytes."""
        self._usual = BodyLimit(app)
        self._of_path = {path: BodyLimit(app, limit_bytes) for path, limit_bytes in of_path.items()}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the call on, or answer 413 once the body is over the limit."""
        await self._of_path.get(scope.get("path", ""), self._usual)(scope, receive, send)
