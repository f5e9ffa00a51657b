"""One fault of a body or a file: where it is, and what would be right."""

from collections.abc import Iterable
from typing import NamedTuple

MAX_TOKEN_CHARACTERS = 120


class FieldError(NamedTuple):
    """One fault: where it is (RFC 6901 JSON pointer, empty for the whole body) and what would be right.

    Of a CSV file, `row` counts its rows, the header being 1, and `column` is a name of the header; the pointer then
    goes into the list of its rows. `code` names a fault that a program can do something about.
    """

    pointer: str
    message: str
    row: int | None = None
    column: str | None = None
    code: str | None = None

    @property
    def place(self) -> str:
        """Where the fault is, for people."""
        if self.row is None:
            return self.pointer or "/"
        return f"row {self.row}" + (f", {self.column}" if self.column is not None else "")

    def as_json(self) -> dict[str, str | int]:
        """Return the fault as it stands in the body of a problem; row, column and code only where there are any."""
        return {name: value for name, value in self._asdict().items() if value is not None}


def json_pointer(location: Iterable[str | int]) -> str:
    """Return the JSON pointer (RFC 6901) of a path of keys and positions.

    It stops before a key that is longer than any key of the API, so that a pointer cannot carry a body back.
    """
    pointer = ""
    for token in location:
        text = str(token)
        if len(text) > MAX_TOKEN_CHARACTERS:
            break
        pointer += "/" + text.replace("~", "~0").replace("/", "~1")
    return pointer
