"""The HTTP API as a whole: bad input is a problem with a pointer, good input an answer without a NaN."""

import json
from typing import Any

import pytest

from app.http.openapi import OPERATIONS, examples
from tests.app.client import Client
from tests.app.record_examples import paths

JSON_TYPE = {"content-type": "application/json"}
RISK, COMPARE = examples()["risk"]["request"], examples()["compare"]["request"]
HOLD, SIZE = examples()["hold"]["request"], examples()["order_size"]["request"]
ROUTE, LINE = COMPARE["routes"][0], COMPARE["lines"][0]
# What records something answers differently the second time; it has tests of its own.
ANSWERING = sorted(name for name, operation in OPERATIONS.items() if not operation.records)
POSTS = [name for name in ANSWERING if OPERATIONS[name].request is not None]


def risk(**fields: Any) -> dict[str, Any]:
    """Return a risk request of one query with fields changed."""
    return {"queries": [RISK["queries"][0] | fields]}


@pytest.mark.parametrize(
    ("path", "body", "pointer", "message"),
    [
        ("risk", risk(transit_days=-1), "/queries/0/transit_days", "must be a number, over 0 to 90"),
        ("risk", risk(transit_days=0), "/queries/0/transit_days", "must be a number, over 0 to 90"),
        ("risk", risk(transit_days=float("nan")), "/queries/0/transit_days", "must be a number, over 0 to 90"),
        ("risk", risk(transit_days="6"), "/queries/0/transit_days", "must be a number, over 0 to 90"),
        ("risk", risk(heat_packs=True), "/queries/0/heat_packs", "must be a whole number, 0 to 20"),
        ("risk", risk(temperature={"daily": [{"min_c": 9, "max_c": 8}]}), "/queries/0/temperature/daily/0/min_c",
         "must be at most max_c"),
        ("risk", {"queries": RISK["queries"][:1] * 10_001}, "/queries", "must be a list of 1 to 10,000 entries"),
        ("compare", COMPARE | {"lines": [LINE | {"quantity": 0}]}, "/lines/0/quantity",
         "must be a whole number, 1 to 100,000"),
        ("compare", COMPARE | {"colour": 1}, "/colour", "is not known here"),
        ("compare", COMPARE | {"forecast": {"XXX": COMPARE["forecast"]["GLA"]}}, "/forecast/XXX",
         "must be a place on the route: the code of origin or destination"),
        ("compare", COMPARE | {"routes": []}, "/routes", "must be a list of 1 to 10 entries"),
        ("compare", COMPARE | {"routes": [ROUTE | {"transit_days": {"p10": 3, "p50": 12, "p90": 10}}]},
         "/routes/0/transit_days/p90", "must be above p50, or all three equal"),
        ("compare", COMPARE | {"origin": "DUX"}, "/origin", "must be the code of an airport or a city"),
        ("compare", COMPARE | {"destination": "QQQ", "forecast": {}}, "/destination",
         "must be the code of an airport or a city"),
        ("hold", HOLD | {"latest": "2027-01-01"}, "/latest", "must be on or after earliest"),
        ("order-size", SIZE | {"target": {"line": 9, "healthy": 5}}, "/target/line", "must be the position of a line"),
    ],
)  # fmt: skip
def test_bad_input_is_a_problem_that_names_the_field(
    client: Client, path: str, body: Any, pointer: str, message: str
) -> None:
    response = client.post(f"/v1/{path}", content=json.dumps(body), headers=JSON_TYPE)
    assert (response.status_code, response.headers["content-type"]) == (422, "application/problem+json")
    [error] = response.json()["errors"]
    assert error["pointer"] == pointer
    assert error["message"].startswith(message)


@pytest.mark.parametrize("name", POSTS)
@pytest.mark.parametrize(
    ("arguments", "status", "code"),
    [
        ({"content": b'{"queries": [', "headers": JSON_TYPE}, 400, "malformed_json"),
        ({"content": b"", "headers": JSON_TYPE}, 400, "malformed_json"),
        ({"content": b"\xff\xfe", "headers": JSON_TYPE}, 400, "malformed_json"),
        ({"content": b"NaN", "headers": JSON_TYPE}, 422, "invalid_input"),
        ({"data": {"queries": "1"}}, 415, "unsupported_media_type"),
        ({"content": b"{}", "headers": {"content-type": "text/csv"}}, 415, "unsupported_media_type"),
        ({"content": b" " * (8 * 2**20 + 1), "headers": JSON_TYPE}, 413, "too_large"),
    ],
)
def test_bad_body_is_a_problem(client: Client, name: str, arguments: Any, status: int, code: str) -> None:
    _, path = paths(client)[name]
    response = client.post(path, **arguments)
    assert (response.status_code, response.json()["code"]) == (status, code)
    assert response.headers["content-type"] == "application/problem+json"
    assert response.json()["errors"][0]["pointer"] == ""


@pytest.mark.parametrize("name", POSTS)
def test_what_was_sent_is_never_sent_back(client: Client, name: str) -> None:
    _, path = paths(client)[name]
    body = examples()[name]["request"] | {"seller": {"secret": "secret"}, "queries": "secret", "seed": "secret"}
    response = client.post(path, json=body)
    assert response.status_code == 422
    assert "secret" not in response.text


@pytest.mark.parametrize("name", ANSWERING)
def test_answer_is_its_schema_without_nan(client: Client, name: str) -> None:
    method, path = paths(client)[name]
    arguments = {"json": examples()[name]["request"]} if name in POSTS else {}
    response = client.request(method, path, params=examples()[name].get("query"), **arguments)
    assert (response.status_code, response.headers["content-type"]) == (200, "application/json")
    model = OPERATIONS[name].answer
    assert model is not None
    model.model_validate_json(response.content)
    assert b"NaN" not in response.content
    assert b"Infinity" not in response.content


@pytest.mark.parametrize("name", POSTS)
def test_same_request_gives_the_same_bytes(client: Client, name: str) -> None:
    _, path = paths(client)[name]
    body = examples()[name]["request"]
    assert client.post(path, json=body).content == client.post(path, json=body).content


def test_unknown_address_and_wrong_method(client: Client) -> None:
    assert client.get("/v1/nothing").json()["code"] == "not_found"
    response = client.get("/v1/compare")
    assert (response.status_code, response.json()["code"]) == (405, "method_not_allowed")
    assert response.headers["allow"] == "POST"


def test_foreign_page_is_refused(client: Client) -> None:
    response = client.post("/v1/risk", json=RISK, headers={"origin": "https://shop.example"})
    assert response.status_code == 403
