"""Problems: one body for every refusal, as RFC 9457 and RFC 6901 have it, that never repeats the input."""

import json
from collections.abc import Iterator

import pytest
from fastapi import FastAPI, Request
from starlette.exceptions import HTTPException

from app.http.problem_handlers import add_problem_handlers
from app.problems import KINDS, FieldError, InvalidInput, MalformedJson, NotFound, Problem, TooLarge, json_pointer
from app.schemas.problem import ProblemBody
from tests.app.client import Client, running_client


@pytest.fixture(scope="module")
def faulty() -> Iterator[Client]:
    """Yield a client of an application whose routes fail in each way."""
    app = FastAPI()
    add_problem_handlers(app)

    @app.get("/unexpected")
    def unexpected() -> None:
        raise RuntimeError("secret of the inside")

    @app.get("/teapot")
    def teapot() -> None:
        raise HTTPException(418, detail="secret of the inside", headers={"X-Kept": "yes"})

    @app.get("/not-found")
    def not_found() -> None:
        raise NotFound("There is no such shipment.")

    @app.get("/parameter")
    def parameter(limit: int) -> int:
        return limit

    @app.post("/echo")
    async def echo(request: Request) -> str:
        return (await request.body()).decode()

    with running_client(app) as client:
        yield client


@pytest.mark.parametrize(
    ("location", "pointer"),
    [
        # RFC 6901, section 5.
        ((), ""),
        (("foo", 0), "/foo/0"),
        (("",), "/"),
        (("a/b",), "/a~1b"),
        (("m~n",), "/m~0n"),
        ((" ",), "/ "),
        (("~1",), "/~01"),
        (("lines", 0, "x" * 121, "y"), "/lines/0"),
    ],
)
def test_json_pointer(location: tuple[str | int, ...], pointer: str) -> None:
    assert json_pointer(location) == pointer


def test_body_has_the_members_of_the_contract() -> None:
    problem = InvalidInput([FieldError("/lines/0/quantity", "must be a whole number, 1 to 100,000")])
    body = json.loads(problem.body())
    assert body == {
        "type": "/docs#problem-invalid_input",
        "title": "Invalid input",
        "status": 422,
        "detail": "One field is not as it should be.",
        "code": "invalid_input",
        "errors": [{"pointer": "/lines/0/quantity", "message": "must be a whole number, 1 to 100,000"}],
    }
    ProblemBody.model_validate(body)
    assert problem.lines() == ["/lines/0/quantity: must be a whole number, 1 to 100,000"]


def test_lines_say_how_many_more() -> None:
    problem = InvalidInput([FieldError(f"/{i}", "must be right") for i in range(103)])
    assert (len(problem.errors), problem.lines()[-1]) == (100, "and 3 more")
    assert problem.detail == "103 fields are not as they should be. The first 100 are listed."
    assert MalformedJson("expected value at line 1 column 1").lines() == [
        "/: must be valid JSON: expected value at line 1 column 1"
    ]
    assert NotFound().lines() == ["Not found."]


def test_codes_are_distinct_and_a_status_is_shared_where_its_meaning_is() -> None:
    """RFC 9110: 400 what cannot be read, 422 what is read and cannot be done, 503 what a later call may get."""
    assert len({kind.code for kind in KINDS}) == len(KINDS)
    codes = {status: {kind.code for kind in KINDS if kind.status == status} for status in {k.status for k in KINDS}}
    assert {status: shared for status, shared in codes.items() if len(shared) > 1} == {
        400: {"malformed_json", "ambiguous_length"},
        422: {"invalid_input", "too_much_work"},
        503: {"store_unavailable", "busy", "stopping"},
    }
    assert TooLarge(8 * 2**20).detail == "The body must be at most 8 MB."
    assert Problem().http_status == 500


@pytest.mark.parametrize(
    ("method", "path", "status", "code"),
    [
        ("GET", "/unexpected", 500, "unexpected"),
        ("GET", "/teapot", 418, "http"),
        ("GET", "/not-found", 404, "not_found"),
        ("GET", "/nowhere", 404, "not_found"),
        ("DELETE", "/echo", 405, "method_not_allowed"),
        ("GET", "/parameter?limit=secret", 422, "invalid_input"),
    ],
)
def test_every_refusal_is_a_problem(faulty: Client, method: str, path: str, status: int, code: str) -> None:
    response = faulty.request(method, path)
    assert (response.status_code, response.headers["content-type"]) == (status, "application/problem+json")
    body = ProblemBody.model_validate_json(response.content)
    assert (body.status, body.code, body.type) == (status, code, f"/docs#problem-{code}")
    assert "secret" not in response.text
    assert "Traceback" not in response.text


def test_headers_of_a_refusal_are_kept(faulty: Client) -> None:
    assert faulty.request("DELETE", "/echo").headers["allow"] == "POST"
    assert faulty.get("/teapot").headers["x-kept"] == "yes"


def test_parameter_has_a_pointer(faulty: Client) -> None:
    assert faulty.get("/parameter").json()["errors"][0]["pointer"] == "/limit"
