"""Every refusal of the service as one problem+json answer."""

import logging
from collections.abc import Mapping

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from app.http.calls import CLIENT_LEFT
from app.log_lines import REQUEST_ID, REQUEST_ID_HEADER
from app.problems import (
    MEDIA_TYPE,
    FieldError,
    Forbidden,
    HttpProblem,
    InvalidInput,
    MethodNotAllowed,
    NotFound,
    Problem,
    StoreUnavailable,
    json_pointer,
)

LOG = logging.getLogger("uvicorn.error")
MEND = (
    "see whether its file, disk or database server is there, has room and is not locked; calls are answered once it is"
)

BY_STATUS: dict[int, type[Problem]] = {kind.status: kind for kind in (Forbidden, NotFound, MethodNotAllowed)}


def problem_response(problem: Problem, headers: Mapping[str, str] | None = None) -> Response:
    """Return the answer that states a problem, and when to come again if that helps."""
    said = dict(headers or {})
    if problem.retry_after_seconds is not None:
        said["Retry-After"] = str(problem.retry_after_seconds)
    return Response(problem.body(), status_code=problem.http_status, headers=said, media_type=MEDIA_TYPE)


def csv_refusal(problem: Problem, headers: Mapping[str, str]) -> Response:
    """Return the answer that states a problem in one line of CSV, for who reads it in a cell or a browser."""
    said = problem_response(problem, headers)
    line = " ".join(f"error: {'; '.join(problem.lines())}".split()).replace('"', '""')
    del said.headers["content-length"], said.headers["content-type"]
    media_type = "text/csv; charset=utf-8; header=absent"
    return Response(
        f'"{line}"'.encode(), status_code=said.status_code, headers=dict(said.headers), media_type=media_type
    )


async def _on_problem(_request: Request, problem: Exception) -> Response:
    assert isinstance(problem, Problem)  # noqa: S101 - registered for this class only
    if isinstance(problem, StoreUnavailable):
        LOG.error("the ledger cannot be used: %s", problem.reason, extra={"event": "ledger_unavailable", "todo": MEND})
    return problem_response(problem)


async def _on_http_exception(_request: Request, refusal: Exception) -> Response:
    assert isinstance(refusal, HTTPException)  # noqa: S101 - registered for this class only
    kind = BY_STATUS.get(refusal.status_code)
    problem = kind() if kind is not None else HttpProblem(refusal.status_code)
    return problem_response(problem, refusal.headers)


async def _on_parameters(_request: Request, refusal: Exception) -> Response:
    # The framework's own answer for a query or path parameter would repeat the value sent.
    assert isinstance(refusal, RequestValidationError)  # noqa: S101 - registered for this class only
    return problem_response(
        InvalidInput([FieldError(json_pointer(fault["loc"][1:]), fault["msg"]) for fault in refusal.errors()])
    )


async def _on_disconnect(_request: Request, _gone: Exception) -> Response:
    return Response(status_code=CLIENT_LEFT)  # nobody reads it but the log


async def _on_unexpected(_request: Request, _fault: Exception) -> Response:
    # The traceback goes to the log of the server, never into the answer. This answer is made outside of `CallLog`.
    request_id = REQUEST_ID.get()
    return problem_response(Problem(), None if request_id is None else {REQUEST_ID_HEADER: request_id})


def add_problem_handlers(app: FastAPI) -> None:
    """Answer every exception, the framework's own included, with problem+json."""
    app.add_exception_handler(Problem, _on_problem)
    app.add_exception_handler(HTTPException, _on_http_exception)
    app.add_exception_handler(RequestValidationError, _on_parameters)
    app.add_exception_handler(ClientDisconnect, _on_disconnect)
    app.add_exception_handler(Exception, _on_unexpected)
