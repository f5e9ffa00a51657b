"""Files of the page, from this package and nowhere else, under a strict policy."""

from os import PathLike, stat_result

from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Receive, Scope, Send

PREFIX = "/page"
POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)
PAGE_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    # Asked for anew each time and answered "not modified" by ETag: after an update no old module meets a new one.
    "Cache-Control": "no-cache",
}
COMPRESSED = frozenset({"/", "/v1/genera", "/v1/packings", "/v1/places", "/v1/services"})


class PageFiles(StaticFiles):
    """Static files with ETags and the headers of the page."""

    def __init__(self) -> None:
        """Find the files of this package."""
        super().__init__(packages=[("app.page", "static")])

    def file_response(
        self, full_path: str | PathLike[str], stat_result: stat_result, scope: Scope, status_code: int = 200
    ) -> Response:
        """Return the file, or that it has not changed."""
        response = super().file_response(full_path, stat_result, scope, status_code)
        response.headers.update(PAGE_HEADERS)
        return response


class Compressed:
    """Compress what the page loads first; answers to other programs are sent as they are, faster on one computer."""

    def __init__(self, app: ASGIApp) -> None:
        """Wrap an application."""
        self._plain, self._compressing = app, GZipMiddleware(app, compresslevel=6)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the call on."""
        path = scope.get("path", "")
        of_page = path in COMPRESSED or path.startswith(f"{PREFIX}/")
        await (self._compressing if of_page else self._plain)(scope, receive, send)
