"""Who may call what: keys, their scopes, how often, and where they are asked for."""

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.http.api_keys import KeyRing, id_of
from app.http.call_log import address_of
from app.http.calls import CALL
from app.http.problem_handlers import problem_response
from app.http.rate_limits import Allowance, RateLimits
from app.http.wrong_keys import MOST_WRONG, WrongKeys
from app.problems import Forbidden, Problem, StoreUnavailable, TooManyCalls, Unauthorized
from app.store import StoredKey

API = "/v1"
# It says how large the ledger is and how much it is used: that is for who has a key.
METRICS_PATH = "/metrics"
READING_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
# These compute an answer and change nothing.
COMPUTING_PATHS = frozenset(
    f"{API}/{name}" for name in ("risk", "compare", "hold", "order-size", "wish-list", "worth-knowing")
)  # fmt: skip
CHALLENGE = 'Bearer realm="transit"'
# By why a key was refused, what the operator can do.
TODO = {
    "wrong": "if its owner is known, see python -m app key list for keys that were revoked, and make a new one with "
    "python -m app key new; if not, block the address at the proxy or the firewall",
    "expired": "make a new one with python -m app key new, and revoke this one",
    "too many wrong ones": "find out what at this address sends a wrong key, or block the address",
    "scope": "if it may change the ledger, give it a key with the scope write: python -m app key new",
    "too many calls": "ask for many lines in one call, or raise TRANSIT_KEY_CALLS_A_MINUTE",
}


def key_ring(scope: Scope) -> KeyRing:
    """Return the keys of the application that answers a call."""
    ring: KeyRing = scope["app"].state.keys
    return ring


def keys_needed(scope: Scope) -> bool:
    """Whether calls of the application that answers need a key."""
    return key_ring(scope).needed


class NeedsKey:
    """Refuse calls without a valid key (401), with one of too narrow a scope (403), and too many of them (429).

    Calls of the API and of ``/metrics`` need a key. The page, its files, the documentation, ``/health`` and ``/ready``
    stay open: they hold nothing of the ledger. No call of the database is made here (see `app.http.api_keys.KeyRing`).
    """

    def __init__(self, app: ASGIApp, limits: RateLimits, wrong: WrongKeys) -> None:
        """Wrap an application whose state has `keys`; `limits` counts calls by key, `wrong` wrong keys by address."""
        self.app, self._limits, self._wrong = app, limits, wrong

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the call on, or answer 401, 403, 429 or 503."""
        path: str = scope.get("path", "")
        guarded = path in (API, METRICS_PATH) or path.startswith(f"{API}/")
        if scope["type"] == "http" and guarded and (ring := key_ring(scope)).needed:
            allowance: Allowance | None = None
            try:
                stored = self._valid_key(ring, Headers(scope=scope), address_of(scope))
                allowance = self._limits.take(stored.id)
                _check(stored, allowance, scope["method"], path)
            except (Unauthorized, Forbidden, TooManyCalls, StoreUnavailable) as refusal:
                headers = _challenge(refusal) | (allowance.headers() if allowance else {})
                await problem_response(refusal, headers)(scope, receive, send)
                return
            if allowance is not None:
                send = _with_headers(send, allowance.headers())
        await self.app(scope, receive, send)

    def _valid_key(self, ring: KeyRing, headers: Headers, address: str) -> StoredKey:
        given = headers.getlist("authorization")
        if len(given) != 1:
            raise Unauthorized("Send a key in one header: Authorization: Bearer transit_...", given=False)
        scheme, _, key = given[0].partition(" ")
        key = key.strip()
        if wait := self._wrong.wait_seconds(address, id_of(key)):
            _note_refused("too many wrong ones")
            raise TooManyCalls(f"{MOST_WRONG} wrong keys came from this address within a minute.", wait)
        stored = ring.current().find(key) if scheme.lower() == "bearer" else None
        if stored is None:
            self._wrong.note_wrong(address)
            _note_refused("wrong")
            raise Unauthorized("This key is not valid: it was never made, or it was revoked.", given=True)
        if (call := CALL.get()) is not None:
            call.key_name = stored.name
        if ring.has_expired(stored):
            _note_refused("expired")
            raise Unauthorized(
                f"This key has expired, on {stored.expires_at:%Y-%m-%d}: a new one is needed.", given=True
            )
        self._wrong.note_right(address, stored.id)
        ring.note_use(stored)
        return stored


def _check(key: StoredKey, allowance: Allowance | None, method: str, path: str) -> None:
    """Refuse a call that a valid key may not make, or not so soon."""
    if allowance is not None and not allowance.granted:
        _note_refused("too many calls")
        raise TooManyCalls(f"This key may make {allowance.quota} calls a minute.", allowance.seconds)
    reads = method in READING_METHODS or (method == "POST" and path in COMPUTING_PATHS)
    if key.scope != "write" and not reads:
        _note_refused("scope")
        raise Forbidden("This key may read and compute, not change the ledger: use one with the scope write.")


def _note_refused(why: str) -> None:
    if (call := CALL.get()) is not None:
        call.refused_key, call.todo = why, TODO[why]


def _with_headers(send: Send, headers: dict[str, str]) -> Send:
    async def with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message).update(headers)
        await send(message)

    return with_headers


def _challenge(refusal: Problem) -> dict[str, str]:
    """Return the header that says what is wanted (RFC 6750); none where it is not a matter of the key."""
    if isinstance(refusal, StoreUnavailable | TooManyCalls):
        return {}
    error = ""
    if isinstance(refusal, Forbidden):
        error = ', error="insufficient_scope", scope="write"'
    elif isinstance(refusal, Unauthorized) and refusal.given:
        error = ', error="invalid_token"'
    return {"WWW-Authenticate": CHALLENGE + error}
