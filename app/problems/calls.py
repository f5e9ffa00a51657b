"""What is wrong with a call whatever its body says: who calls, which address, and what is recorded there by now."""

from app.problems.problem import Problem


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
