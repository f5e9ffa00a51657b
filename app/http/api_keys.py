"""API keys as they travel, and the keys that this process knows.

A key is ``transit_<id>_<secret>``. Its secret is 256 random bits, so a plain SHA-256 keeps it safe at rest: nobody can
try that many. A slow hash is for passwords that people choose, and would make every call slow.
"""

import hashlib
import hmac
import logging
import re
import secrets
import time
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import NamedTuple

from app.clock import every, moment
from app.problems import StoreUnavailable
from app.store import Database, Scope, StoredKey, list_keys, note_uses

LOG = logging.getLogger("uvicorn.error")

# Another process's new or revoked key counts here after at most about so long.
CHECK_SECONDS = 1.0
# Keys not looked up for so long are not trusted: one of them may have been revoked meanwhile.
STALE_SECONDS = 30.0
# When a key was last used is kept to within so long: a call costs no write.
USES_SECONDS = 30.0
ID_BYTES, SECRET_BYTES = 6, 32
PATTERN = re.compile(rf"transit_([0-9a-f]{{{2 * ID_BYTES}}})_([0-9a-f]{{{2 * SECRET_BYTES}}})", re.ASCII)
# Compared with where the id is not known, so that the time of an answer does not tell which ids there are.
_NOBODYS = hashlib.sha256(b"").hexdigest()


def new_key(name: str, scope: Scope, *, now: datetime, lifetime: timedelta | None = None) -> tuple[str, StoredKey]:
    """Return a new key, to be shown once, and what is stored of it; without a lifetime it does not expire."""
    key_id, secret = secrets.token_hex(ID_BYTES), secrets.token_hex(SECRET_BYTES)
    expires_at = None if lifetime is None else now + lifetime
    stored = StoredKey(key_id, name, scope, _sha256(secret), now, None, expires_at)
    return f"transit_{key_id}_{secret}", stored


def id_of(key: str) -> str | None:
    """Return the id that a key gives, valid or not; None if it has not the form of a key."""
    match = PATTERN.fullmatch(key)
    return None if match is None else match[1]


class KnownKeys(NamedTuple):
    """The keys at one moment: those that are not revoked, by id, and whether calls need one."""

    valid: Mapping[str, StoredKey]
    needed: bool

    def find(self, key: str) -> StoredKey | None:
        """Return what is stored of a key, which may have expired; None if there is none like it, or it was revoked."""
        match = PATTERN.fullmatch(key)
        if match is None:
            return None
        key_id, secret = match.groups()
        stored = self.valid.get(key_id)
        same = hmac.compare_digest(_sha256(secret), _NOBODYS if stored is None else stored.secret_sha256)
        return stored if same else None


class KeyRing:
    """The keys of the ledger, looked up every second, whichever process made or revoked them.

    Once a ledger has keys, revoked ones included, every call needs one; on an address that others can reach it always
    does. A ledger that cannot be read, or whose file is gone, leaves the keys as they are for `STALE_SECONDS`.
    """

    def __init__(
        self,
        database: Database,
        *,
        always: bool,
        clock: Callable[[], float] = time.monotonic,
        now: Callable[[], datetime] = moment,
    ) -> None:
        """Take the ledger, whether keys are needed even where it has none, and what tells time gone by and the date."""
        self._database, self._always, self._clock, self._now = database, always, clock, now
        self._uses: dict[str, datetime] = {}
        self._known = KnownKeys({}, needed=always)
        self._looked_at = clock()

    @property
    def needed(self) -> bool:
        """Whether calls need a key."""
        return self._known.needed

    def current(self) -> KnownKeys:
        """Return the keys.

        Raises
        ------
        StoreUnavailable
            If calls need one, and the ledger could not be read for too long to know which ones are valid.
        """
        known = self._known
        if known.needed and self._clock() - self._looked_at > STALE_SECONDS:
            raise StoreUnavailable(f"keys could not be looked up for {STALE_SECONDS:.0f} seconds")
        return known

    def has_expired(self, key: StoredKey) -> bool:
        """Whether the time of a key is over."""
        return key.has_expired(self._now())

    @property
    def first_expiry(self) -> datetime | None:
        """When the first of the keys that are not revoked expires, or did; None where none does."""
        return min((key.expires_at for key in self._known.valid.values() if key.expires_at is not None), default=None)

    def note_use(self, key: StoredKey) -> None:
        """Remember that a key was used; `write_uses` writes it down."""
        self._uses[key.id] = self._now()

    def write_uses(self) -> None:
        """Write down when keys were last used; what cannot be written is kept for the next time."""
        uses = dict(self._uses)
        if not uses or self._database.absent:
            return
        try:
            with self._database.writing() as connection:
                note_uses(connection, uses)
        except StoreUnavailable as error:
            LOG.warning("last uses of keys are not written down: %s", error.reason)
            return
        for key_id, at in uses.items():
            if self._uses.get(key_id) == at:
                self._uses.pop(key_id, None)

    def refresh(self) -> None:
        """Look the keys up."""
        if self._database.absent:
            if not self._known.valid:
                self._looked_at = self._clock()
            return
        begun = self._clock()
        try:
            with self._database.reading() as connection:
                stored = list_keys(connection)
        except StoreUnavailable as error:
            LOG.warning("keys are not looked up: %s", error.reason)
            return
        valid = {key.id: key for key in stored if key.revoked_at is None}
        self._known = KnownKeys(valid, needed=self._always or bool(stored))
        self._looked_at = begun

    async def follow(self) -> None:
        """Look the keys up every second, in a thread of its own, until cancelled."""
        # If no look succeeds, keys become stale and open nothing.
        await every(CHECK_SECONDS, self.refresh, "keys are not looked up")

    async def follow_uses(self) -> None:
        """Write last uses down now and then, in another thread, since a write may wait for the ledger's lock."""
        await every(USES_SECONDS, self.write_uses, "last uses of keys are not written down")


def _sha256(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
