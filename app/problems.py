"""Everything that can be wrong with a call, and the one body that says so (RFC 9457).

The exception tree::

    Problem                     500  unexpected
    ├── MalformedJson           400  the body is not JSON
    ├── AmbiguousLength         400  the body has two lengths
    ├── Unauthorized            401  a key is needed, or the one sent is not valid
    ├── Forbidden               403  not from this computer, or the key is for reading only
    ├── NotFound                404  no such address or thing
    ├── MethodNotAllowed        405  the address takes another method
    ├── TooSlow                 408  the body came in too slowly
    ├── Conflict                409  at odds with what is recorded
    ├── PreconditionFailed      412  what is to be changed has changed meanwhile, or is there already
    ├── TooLarge                413  the body is over its limit
    ├── UnsupportedMediaType    415  the body is not said to be of the type taken
    ├── InvalidInput            422  JSON or CSV, but not what the operation takes
    │   └── TooMuchWork         422  as the operation takes it, but more than one call may ask for
    ├── PreconditionRequired    428  a change does not say which version it changes
    ├── TooManyCalls            429  the key has made too many calls, or the address has sent too many wrong keys
    ├── Busy                    503  too many calls wait
    ├── Stopping                503  the server ends before the call is done
    ├── StoreUnavailable        503  the database cannot be used
    └── HttpProblem             4xx  any other refusal of the framework
"""

import json
from collections.abc import Iterable, Sequence
from typing import ClassVar, NamedTuple

MEDIA_TYPE = "application/problem+json"
MAX_ERRORS = 100
MAX_CELL_ERRORS = 10_000
MAX_TOKEN_CHARACTERS = 120
RETRY_AFTER_SECONDS = 5
# Of one core, by the estimate of a call: what would take longer is too much work for one.
MOST_SECONDS = 5.0


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


class Problem(Exception):  # noqa: N818 - the name of the thing in RFC 9457
    """A call that cannot be answered; each subclass is one ``code``."""

    status: ClassVar[int] = 500
    code: ClassVar[str] = "unexpected"
    title: ClassVar[str] = "Unexpected fault of the server"
    usual_detail: ClassVar[str] = ""
    retry_after_seconds: int | None = None

    def __init__(self, detail: str = "", errors: Sequence[FieldError] = ()) -> None:
        """Say what is wrong as a whole and, where there are any, field by field."""
        self.detail = detail or self.usual_detail or f"{self.title}."
        self.errors = tuple(errors)
        super().__init__(self.detail)

    @property
    def http_status(self) -> int:
        """The HTTP status of the answer."""
        return self.status

    def body(self) -> bytes:
        """Return the problem+json body."""
        return json.dumps(
            {
                "type": f"/docs#problem-{self.code}",
                "title": self.title,
                "status": self.http_status,
                "detail": self.detail,
                "code": self.code,
                "errors": [error.as_json() for error in self.errors],
            }
        ).encode()

    def lines(self) -> list[str]:
        """Return one line a fault, ``place: message``, or the detail where no fault is listed."""
        return [f"{error.place}: {error.message}" for error in self.errors] or [self.detail]


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


class Unauthorized(Problem):
    """A key is needed, or the one sent is not valid."""

    status = 401
    code = "unauthorized"
    title = "A key is needed"

    def __init__(self, detail: str, *, given: bool) -> None:
        """Say what is wrong, and whether a key was sent at all."""
        super().__init__(detail)
        self.given = given


class Forbidden(Problem):
    """The call does not come from this computer, or its key is for reading only."""

    status = 403
    code = "forbidden"
    title = "Forbidden"


class NotFound(Problem):
    """No such address or thing."""

    status = 404
    code = "not_found"
    title = "Not found"


class MethodNotAllowed(Problem):
    """The address exists but takes another method."""

    status = 405
    code = "method_not_allowed"
    title = "Method not allowed"


class TooSlow(Problem):
    """The body came in too slowly."""

    status = 408
    code = "too_slow"
    title = "The body came in too slowly"
    usual_detail = "The body did not arrive in time. Send it again, in smaller parts if the connection is slow."


class Conflict(Problem):
    """The call is at odds with what is recorded."""

    status = 409
    code = "conflict"
    title = "Conflict"


class PreconditionFailed(Problem):
    """What is to be changed has changed meanwhile, or is there already."""

    status = 412
    code = "precondition_failed"
    title = "Precondition failed"


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


class PreconditionRequired(Problem):
    """A change does not say which version it changes."""

    status = 428
    code = "precondition_required"
    title = "Precondition required"


class TooManyCalls(Problem):
    """A key has made too many calls, or too many wrong keys came from an address."""

    status = 429
    code = "too_many_calls"
    title = "Too many calls"

    def __init__(self, why: str, retry_after_seconds: int) -> None:
        """Say why, and after how long another call will be answered."""
        super().__init__(f"{why} Nothing was done. Try again after {retry_after_seconds} seconds.")
        self.retry_after_seconds = retry_after_seconds


class Busy(Problem):
    """Too many calls wait for their turn already, or this one has waited for too long."""

    status = 503
    code = "busy"
    title = "The server is busy"
    usual_detail = (
        f"Too many calls wait for their turn; nothing was done. Try again after {RETRY_AFTER_SECONDS} seconds or more."
    )
    retry_after_seconds = RETRY_AFTER_SECONDS


class Stopping(Problem):
    """The server was told to stop, and ends before the call is done."""

    status = 503
    code = "stopping"
    title = "The server stops"
    usual_detail = "The server ended before this call was done. See whether a change was made before it is repeated."


class StoreUnavailable(Problem):
    """The database of the ledger cannot be used."""

    status = 503
    code = "store_unavailable"
    title = "The ledger cannot be used just now"

    def __init__(self, reason: str) -> None:
        """Take what the database says; it stays out of answers, since it may name hosts and files."""
        self.reason = reason
        super().__init__("The database of the ledger cannot be used; the reason is in the log of the server.")

    def lines(self) -> list[str]:
        """Return the reason, for whoever runs the command."""
        return [f"the ledger cannot be used: {self.reason}"]


class HttpProblem(Problem):
    """A refusal of the framework without a class of its own."""

    code = "http"
    title = "The call was refused"

    def __init__(self, status: int) -> None:
        """Take the HTTP status that the framework chose."""
        self._status = status
        super().__init__()

    @property
    def http_status(self) -> int:
        """The status that the framework chose."""
        return self._status


KINDS: tuple[type[Problem], ...] = (
    MalformedJson,
    AmbiguousLength,
    Unauthorized,
    Forbidden,
    NotFound,
    MethodNotAllowed,
    TooSlow,
    Conflict,
    PreconditionFailed,
    TooLarge,
    UnsupportedMediaType,
    InvalidInput,
    TooMuchWork,
    PreconditionRequired,
    TooManyCalls,
    Problem,
    Busy,
    Stopping,
    StoreUnavailable,
)
"""Every problem with a code of its own, in order of status."""
