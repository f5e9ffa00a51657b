"""How many calls a key may make in a minute, and the headers that say how many are left.

``RateLimit-Policy`` and ``RateLimit`` are those of the IETF's draft "RateLimit header fields for HTTP"
(draft-ietf-httpapi-ratelimit-headers, R. Polli, A. Martinez, D. Miller).
"""

import time
from collections.abc import Callable
from math import ceil
from typing import NamedTuple

from app.http.windows import WINDOW_SECONDS, Windows


class Allowance(NamedTuple):
    """What a key may still do: `granted` says whether this call is among it."""

    quota: int
    left: int
    seconds: int
    granted: bool

    def headers(self) -> dict[str, str]:
        """Return the headers that say so."""
        return {
            "RateLimit-Policy": f'"key";q={self.quota};w={WINDOW_SECONDS}',
            "RateLimit": f'"key";r={self.left};t={self.seconds}',
        }


class RateLimits:
    """Calls of each key in windows of a minute that begin with its first call; each process counts by itself."""

    def __init__(self, quota: int, clock: Callable[[], float] = time.monotonic) -> None:
        """Take how many calls a key may make in a minute; 0: as many as it likes."""
        self.quota, self._calls = quota, Windows(clock)

    def take(self, key_id: str) -> Allowance | None:
        """Count a call of a key that is valid, and return what is left; None where there is no limit."""
        if not self.quota:
            return None
        n, left = self._calls.seen(key_id)
        granted = n < self.quota
        if granted:
            self._calls.count(key_id)
        return Allowance(self.quota, self.quota - n - granted, max(1, ceil(left)), granted)
