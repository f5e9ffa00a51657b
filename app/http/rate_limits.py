"""How many calls a key may make in a minute, and the headers that say how many are left.

``RateLimit-Policy`` and ``RateLimit`` are those of the IETF's draft "RateLimit header fields for HTTP"
(draft-ietf-httpapi-ratelimit-headers, R. Polli, A. Martinez, D. Miller).
"""

import time
from collections.abc import Callable
from math import ceil
from typing import NamedTuple

WINDOW_SECONDS = 60


class Allowance(NamedTuple):
    """What a key may still do: `granted` says whether this call is among it."""

    quota: int
    left: int
    seconds: int
    granted: bool

    def headers(self) -> dict[str, str]:
        """Return the headers that say so."""
        headers = {
            "RateLimit-Policy": f'"key";q={self.quota};w={WINDOW_SECONDS}',
            "RateLimit": f'"key";r={self.left};t={self.seconds}',
        }
        return headers if self.granted else headers | {"Retry-After": str(self.seconds)}


class RateLimits:
    """Calls of each key in windows of a minute that begin with its first call; each process counts by itself."""

    def __init__(self, quota: int, clock: Callable[[], float] = time.monotonic) -> None:
        """Take how many calls a key may make in a minute; 0: as many as it likes."""
        self.quota, self._clock = quota, clock
        self._windows: dict[str, tuple[float, int]] = {}

    def take(self, key_id: str) -> Allowance | None:
        """Count a call of a key that is valid, and return what is left; None where there is no limit."""
        if not self.quota:
            return None
        now = self._clock()
        until, n = self._windows.get(key_id, (0.0, 0))
        if until <= now:
            # Keys are few and made by the operator; those that were forgotten leave with their window.
            self._windows = {key: window for key, window in self._windows.items() if window[0] > now}
            until, n = now + WINDOW_SECONDS, 0
        granted = n < self.quota
        n += granted
        self._windows[key_id] = until, n
        return Allowance(self.quota, self.quota - n, max(1, ceil(until - now)), granted)
