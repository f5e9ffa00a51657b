"""An answer before it becomes HTTP: made in a worker thread, and kept to be given again."""

from typing import NamedTuple

OK, CREATED, NO_CONTENT = 200, 201, 204


class Reply(NamedTuple):
    """Status, headers and JSON body of an answer."""

    status: int
    headers: dict[str, str]
    body: bytes
