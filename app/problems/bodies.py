"""What is wrong with the body of a call, or with a file: its form, its length, or what it says."""

from collections.abc import Sequence

from app.problems.fault import FieldError
from app.problems.problem import Problem

MAX_ERRORS = 100
MAX_CELL_ERRORS = 10_000
# Of one core, by the estimate of a call: what would take longer is too much work for one.
MOST_SECONDS = 5.0


class MalformedJson(Problem):
    """The body is not JSON."""

    status = 400
    code = "malformed_json"
    title = "Malformed JSON"

    def __init__(self, reason: str) -> None:
        """Take the reason the parser gives."""
        message = f"must be valid JSON: {reason}"
        super().__init__(f"The body {message}.", [FieldError("", message)])


class AmbiguousLength(Problem):
    """The body has two lengths: who reads it by the other one takes the rest of it for another call."""

    status = 400
    code = "ambiguous_length"
    title = "The body has two lengths"
    usual_detail = "Send Content-Length or Transfer-Encoding, not both; the connection is closed."


class TooSlow(Problem):
    """The body came in too slowly."""

    status = 408
    code = "too_slow"
    title = "The body came in too slowly"
    usual_detail = "The body did not arrive in time. Send it again, in smaller parts if the connection is slow."


class TooLarge(Problem):
    """The body is over its limit."""

    status = 413
    code = "too_large"
    title = "Too large"

    def __init__(self, limit_bytes: int) -> None:
        """Take the limit, bytes."""
        message = f"must be at most {limit_bytes // 2**20} MB"
        super().__init__(f"The body {message}.", [FieldError("", message)])


class UnsupportedMediaType(Problem):
    """The body is not said to be of the type that the operation takes."""

    status = 415
    code = "unsupported_media_type"
    title = "Unsupported media type"

    def __init__(self, name: str = "JSON", media_type: str = "application/json") -> None:
        """Say which type is taken."""
        message = f"must be sent as {name}, with the header Content-Type: {media_type}"
        super().__init__(f"The body {message}.", [FieldError("", message)])


class InvalidInput(Problem):
    """The body is JSON or CSV but not what the operation takes; each fault is an error with its place."""

    status = 422
    code = "invalid_input"
    title = "Invalid input"

    def __init__(self, errors: Sequence[FieldError], n_faults: int | None = None) -> None:
        """Take the faults to list and, where more were found than listed, their number."""
        n = len(errors) if n_faults is None else n_faults
        detail = "One field is not as it should be." if n == 1 else f"{n:,} fields are not as they should be."
        if n > MAX_ERRORS:
            detail += f" The first {MAX_ERRORS} are listed."
        super().__init__(detail, errors[:MAX_ERRORS])
        self.n_faults = n

    def lines(self) -> list[str]:
        """Return one line a fault, and how many more there are."""
        more = self.n_faults - len(self.errors)
        return super().lines() + ([f"and {more:,} more"] if more > 0 else [])


class TooMuchWork(InvalidInput):
    """A request is valid, but would keep the server busy for too long; its error says what would fit."""

    code = "too_much_work"
    title = "Too much work for one call"

    def __init__(self, pointer: str, message: str) -> None:
        """Take where less would do, and how much less."""
        super().__init__([FieldError(pointer, message)])
        self.detail = f"{pointer or 'The body'} {message}."


class InvalidCells(InvalidInput):
    """A CSV file with cells that are not as they should be; up to `MAX_CELL_ERRORS` are listed."""

    def __init__(self, errors: Sequence[FieldError], n_faults: int | None = None, *, read_on: bool = True) -> None:
        """Take the faults to list, their number where more were found, and whether the file was read to its end."""
        n = len(errors) if n_faults is None else n_faults
        detail = "One cell is not as it should be." if n == 1 else f"{n:,} cells are not as they should be."
        if n > MAX_CELL_ERRORS:
            detail += f" The first {MAX_CELL_ERRORS:,} are listed."
        if not read_on:
            detail += " The file was not read any further."
        Problem.__init__(self, f"{detail} Nothing was imported.", errors[:MAX_CELL_ERRORS])
        self.n_faults = n
