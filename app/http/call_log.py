"""One line of the log and one sample of the metrics for every call."""

import logging
import re
from time import perf_counter
from uuid import uuid4

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.http.calls import CALL, CLIENT_LEFT, Call
from app.http.metrics import Metrics
from app.log_lines import REQUEST_ID, REQUEST_ID_HEADER

LOG = logging.getLogger("app.calls")

# What common tracing tools send; anything else could forge lines of a log or make it long.
GIVEN = re.compile(r"[A-Za-z0-9._:/+=@-]{1,128}", re.ASCII)
# No such path, or refused before one was looked for.
UNROUTED = "(none)"
SERVER_FAULT = 500

QUEUED = "it waited for its turn: send fewer calls at once, or give the server more cores"
COMPUTED = "it computed: ask for fewer lines, dates, routes or draws in one call, or give the server faster cores"
OF_LEDGER = "the ledger was slow: see whether another program holds it, and how full and busy its disk is"
OF_CLIENT = "most of the time its client took to send or read: look at the network if calls of others are slow too"
OF_POOL = {"computing": COMPUTED, "quick": COMPUTED, "reading": OF_LEDGER, "changing": OF_LEDGER}


class CallLog:
    """Give every call an id, and note how it went once it is answered.

    The id is that of the header ``X-Request-ID`` where it is a valid one, else a new one; the answer has it too. Of the
    address only the route is noted, never what stands in its place, in the query or in the body: that may be a
    secret that somebody put in the wrong place.
    """

    def __init__(self, app: ASGIApp, slow_seconds: float, files: str) -> None:
        """Wrap an application whose state has `metrics` and which has files below the path `files`.

        A call that takes longer than `slow_seconds` is slow.
        """
        self.app, self._slow_seconds, self._files = app, slow_seconds, files

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the call on."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        call = Call(_request_id(Headers(scope=scope)))
        # Each call has a context of its own, so neither is ever set back: what is said after it still has its id.
        CALL.set(call)
        REQUEST_ID.set(call.request_id)
        status: int | None = None
        left = False
        begun = perf_counter()

        async def noting() -> Message:
            nonlocal left
            message = await receive()
            left = left or message["type"] == "http.disconnect"
            return message

        async def with_id(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[REQUEST_ID_HEADER] = call.request_id
            await send(message)

        # A fault is one even where its client has left meanwhile: its answer is made outside of here.
        unanswered = SERVER_FAULT
        try:
            await self.app(scope, noting, with_id)
            unanswered = CLIENT_LEFT if left else SERVER_FAULT
        finally:
            self._note(scope, call, unanswered if status is None else status, perf_counter() - begun)

    def _note(self, scope: Scope, call: Call, status: int, seconds: float) -> None:
        route, method = self._route(scope), scope["method"]
        metrics: Metrics = scope["app"].state.metrics
        metrics.note(call, method, route, status, seconds)
        slow = seconds > self._slow_seconds and not call.waits and status != CLIENT_LEFT
        todo = call.todo or (slow_todo(call, seconds) if slow else None)
        level = logging.WARNING if todo or status >= SERVER_FAULT else logging.INFO
        if not LOG.isEnabledFor(level):
            return
        left = "client_left" if status == CLIENT_LEFT else "call"
        event = "key_refused" if call.refused_key else "slow_call" if slow else left
        fields = {
            "event": event,
            "method": method,
            "route": route,
            "status": status,
            "duration_ms": round(1000.0 * seconds, 1),
            "queue_ms": round(1000.0 * call.queue_seconds, 1),
            "key": call.key_name,
            "address": address_of(scope),
            "todo": todo,
        }
        whose = f", key {call.key_name!r}" if call.key_name else ""
        refused = f": a key from {fields['address']} was refused, {call.refused_key}" if call.refused_key else ""
        LOG.log(
            level,
            "%s %s %s %.0f ms%s%s%s.",
            method,
            route,
            "given up by its client after" if status == CLIENT_LEFT else f"{status} in",
            1000.0 * seconds,
            f", {fields['queue_ms']:.0f} of them waiting" if fields["queue_ms"] >= 1.0 else "",
            whose,
            refused,
            extra={name: value for name, value in fields.items() if value is not None},
        )

    def _route(self, scope: Scope) -> str:
        """Return the template of the address that answered, so that labels and lines are few and hold no names."""
        route = scope.get("route")
        if route is not None:
            return str(route.path_format)
        return f"{self._files}/{{file}}" if scope["path"].startswith(f"{self._files}/") else UNROUTED


def address_of(scope: Scope) -> str:
    """Return the address that a call came from: its client's where a trusted proxy says it."""
    client = scope.get("client")
    return client[0] if client else "unknown"


def _request_id(headers: Headers) -> str:
    given = headers.get(REQUEST_ID_HEADER, "")
    return given if GIVEN.fullmatch(given) else uuid4().hex


def slow_todo(call: Call, seconds: float) -> str:
    """Return what can be done about a call that took so long, by where most of its time went."""
    worked = sum(turn.work_seconds for turn in call.turns)
    if call.queue_seconds > worked and 2.0 * call.queue_seconds > seconds:
        return QUEUED
    if call.turns and 2.0 * (worked + call.queue_seconds) > seconds:
        longest = max(call.turns, key=lambda turn: turn.work_seconds)
        return OF_POOL.get(longest.pool, COMPUTED)
    return OF_CLIENT
