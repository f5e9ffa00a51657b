"""The conditions of a change (RFC 9110, section 13): of which version it is meant, or that nothing is there yet."""

import re
from typing import NamedTuple

from app.problems import PreconditionFailed, PreconditionRequired

ANY = "*"
_STRONG_ETAG = re.compile(r'(W/)?("[\x21\x23-\x7e\x80-\xff]*")')


class Preconditions(NamedTuple):
    """What a call says of the version it changes; None where it says nothing."""

    if_match: str | None = None
    if_none_match: str | None = None

    @property
    def creates(self) -> bool:
        """Whether the call may only make what is not there yet."""
        return self.if_none_match is not None and self.if_none_match.strip() == ANY

    def check_creation(self) -> None:
        """Check a call about something that is not there yet.

        Raises
        ------
        PreconditionRequired
            Without ``If-None-Match: *``.
        """
        if not self.creates:
            raise PreconditionRequired("Making one needs the header If-None-Match: *, so that none is overwritten.")

    def check_change(self, etag: str) -> None:
        """Check a call against the present version of what it changes.

        Raises
        ------
        PreconditionFailed
            If that is another version, or there should have been none.
        PreconditionRequired
            If the call does not say which version it changes.
        """
        if self.creates:
            raise PreconditionFailed("There is one already: change it with If-Match and the ETag of a GET.")
        if self.if_match is None:
            raise PreconditionRequired("A change needs the header If-Match with the ETag of a GET.")
        if self.if_match.strip() != ANY and etag not in _strong_etags(self.if_match):
            raise PreconditionFailed("It was changed meanwhile: GET it again, and send the change with the new ETag.")


def _strong_etags(header: str) -> list[str]:
    return [tag for weak, tag in _STRONG_ETAG.findall(header) if not weak]
