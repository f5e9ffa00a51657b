"""Who may call what: keys, their scopes, and where they are asked for."""

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from app.http.api_keys import KeyRing
from app.http.problem_handlers import problem_response
from app.problems import Forbidden, Problem, StoreUnavailable, Unauthorized

API = "/v1"
READING_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
# These compute an answer and change nothing.
COMPUTING_PATHS = frozenset(
    f"{API}/{name}" for name in ("risk", "compare", "hold", "order-size", "wish-list")
)  # fmt: skip
CHALLENGE = 'Bearer realm="transit"'


def key_ring(scope: Scope) -> KeyRing:
    """Return the keys of the application that answers a call."""
    ring: KeyRing = scope["app"].state.keys
    return ring


def keys_needed(scope: Scope) -> bool:
    """Whether calls of the application that answers need a key."""
    return key_ring(scope).needed


class NeedsKey:
    """Refuse calls of the API without a valid key (401), or with one whose scope is not wide enough (403).

    The page, its files, the documentation, ``/health`` and ``/ready`` stay open: they hold nothing of the ledger. No
    call of the database is made here (see `app.api_keys.KeyRing`).
    """

    def __init__(self, app: ASGIApp) -> None:
        """Wrap an application whose state has `keys`."""
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the call on, or answer 401, 403 or 503."""
        path: str = scope.get("path", "")
        of_api = path == API or path.startswith(f"{API}/")
        if scope["type"] == "http" and of_api and (ring := key_ring(scope)).needed:
            try:
                _check(ring, Headers(scope=scope), scope["method"], path)
            except (Unauthorized, Forbidden, StoreUnavailable) as refusal:
                await problem_response(refusal, _challenge(refusal))(scope, receive, send)
                return
        await self.app(scope, receive, send)


def _check(ring: KeyRing, headers: Headers, method: str, path: str) -> None:
    given = headers.getlist("authorization")
    if len(given) != 1:
        raise Unauthorized("Send a key in one header: Authorization: Bearer transit_...", given=False)
    scheme, _, key = given[0].partition(" ")
    stored = ring.current().find(key.strip()) if scheme.lower() == "bearer" else None
    if stored is None:
        raise Unauthorized("This key is not valid: it was never made, or it was revoked.", given=True)
    reads = method in READING_METHODS or (method == "POST" and path in COMPUTING_PATHS)
    if stored.scope != "write" and not reads:
        raise Forbidden("This key may read and compute, not change the ledger: use one with the scope write.")


def _challenge(refusal: Problem) -> dict[str, str] | None:
    """Return the header that says what is wanted (RFC 6750)."""
    if isinstance(refusal, StoreUnavailable):
        return None
    error = ""
    if isinstance(refusal, Forbidden):
        error = ', error="insufficient_scope", scope="write"'
    elif isinstance(refusal, Unauthorized) and refusal.given:
        error = ', error="invalid_token"'
    return {"WWW-Authenticate": CHALLENGE + error}
