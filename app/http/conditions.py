"""The conditions of a change, read from the headers of a call."""

from starlette.datastructures import Headers

from app.records import Preconditions


def conditions_of(headers: Headers) -> Preconditions:
    """Read the headers of a call; a header sent several times counts as one list."""
    return Preconditions(*(", ".join(headers.getlist(name)) or None for name in ("if-match", "if-none-match")))


def is_known(headers: Headers, etag: str) -> bool:
    """Whether the caller has the answer of an ETag already (RFC 9110, section 13.1.2: weak comparison)."""
    given = ",".join(headers.getlist("if-none-match"))
    return etag in [tag.strip().removeprefix("W/") for tag in given.split(",")]
