"""What every problem has: a status, a code, a title, and the body that says so (RFC 9457)."""

import json
from collections.abc import Sequence
from typing import ClassVar

from app.problems.fault import FieldError

MEDIA_TYPE = "application/problem+json"


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
