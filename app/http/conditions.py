"""The conditions of a change, read from the headers of a call."""

from starlette.datastructures import Headers

from app.records import Preconditions


def conditions_of(headers: Headers) -> Preconditions:
    """Read the headers of a call; a header sent several times counts as one list."""
    return Preconditions(*(", ".join(headers.getlist(name)) or None for name in ("if-match", "if-none-match")))
