"""The OpenAPI document and its page: examples run as shown."""

import json
import re
from importlib import import_module
from pkgutil import iter_modules
from typing import Any

import pytest

import app.routes
from app.http.docs_page import docs_page
from app.http.openapi import OPERATIONS, examples
from app.http.shared_parts import composed
from app.schemas import PlanForecastAnswer, ShipmentAnswer
from tests.app.client import Client
from tests.app.record_examples import (
    EXAMPLES_FILE,
    answer_to,
    for_reading,
    laid_out,
    paths,
    seller_record,
    shipment_life,
    stored_once,
)

NAMES = sorted(OPERATIONS)
UNDOCUMENTED = {("GET", "/v1/sellers/{name}"), ("PUT", "/v1/sellers/{name}"), ("GET", "/v1/forecast/{place}")}
ANSWERED_ALIKE = [name for name in NAMES if not OPERATIONS[name].records]


def assert_alike(answer: Any, recorded: Any) -> None:
    """Compare two answers: text exactly, numbers up to the last bits that differ between processors."""
    if isinstance(recorded, dict):
        assert answer.keys() == recorded.keys()
        for key in recorded:
            assert_alike(answer[key], recorded[key])
    elif isinstance(recorded, list):
        assert len(answer) == len(recorded)
        for own, other in zip(answer, recorded, strict=True):
            assert_alike(own, other)
    elif isinstance(recorded, float):
        assert answer == pytest.approx(recorded, rel=1e-6, abs=1e-9)
    else:
        assert answer == recorded


def test_every_operation_is_documented_with_an_example(client: Client) -> None:
    assert sorted(paths(client)) == NAMES == sorted(examples())
    for name in NAMES:
        operation, example = OPERATIONS[name], examples()[name]
        assert ("request" in example) == (operation.request is not None or operation.request_text is not None)
        assert ("answer" in example) == (operation.answer is not None or operation.answer_text is not None)


@pytest.mark.parametrize("name", [name for name in NAMES if OPERATIONS[name].records and OPERATIONS[name].answer])
def test_example_of_what_records_is_as_its_schema_says(name: str) -> None:
    model = OPERATIONS[name].answer
    assert model is not None
    answer = examples()[name]["answer"]
    model.model_validate_json(json.dumps(answer))
    # The document says what a stored forecast is; the model of the answer takes it as it was stored.
    if model is ShipmentAnswer:
        PlanForecastAnswer.model_validate_json(json.dumps(answer["forecast"]))


def test_no_large_part_of_the_examples_is_stored_twice() -> None:
    stored = json.loads(EXAMPLES_FILE.read_text(encoding="utf-8"))
    assert stored == stored_once(examples())
    assert stored["recheck"]["answer"].keys() == {"$ref"}, "the shipment as it stands after its recheck"
    assert composed(stored) == examples()


def test_parts_that_stand_twice_are_stored_once_and_found_again() -> None:
    long, longer = {"a/b~": ["x" * 200, 1.0]}, {"long": {"a/b~": ["x" * 200, 1.0]}, "rest": ["y" * 300]}
    whole = {"one": {"request": long, "answer": longer}, "two": {"request": long, "answer": [longer, longer["rest"]]}}
    stored = stored_once(whole)
    assert stored["two"]["request"] == long, "written by hand"
    assert stored["two"]["answer"][0] == {"$ref": "#/one/answer"}
    assert composed(stored) == whole
    assert composed({"a": {"b~/": [1, {"c": 2}]}, "d": {"$ref": "#/a/b~0~1/1"}}) == {
        "a": {"b~/": [1, {"c": 2}]},
        "d": {"c": 2},
    }
    assert json.loads(laid_out(whole)) == whole


def test_examples_of_a_file_are_taken_and_given(ledger_client: Client) -> None:
    sent, given = examples()["import_shipments"], examples()["export_shipments"]
    answer = ledger_client.post("/v1/shipments/import", content=sent["request"], headers={"content-type": "text/csv"})
    assert (answer.status_code, answer.json()) == (200, sent["answer"])
    assert ledger_client.get("/v1/shipments/export").text.splitlines() == given["answer"].splitlines()


def test_every_route_of_the_api_is_in_the_document(client: Client) -> None:
    modules = [import_module(f"app.routes.{found.name}") for found in iter_modules(app.routes.__path__)]
    routes = [route for module in modules if hasattr(module, "router") for route in module.router.routes]
    served = {
        (m, re.sub(":path}", "}", r.path))
        for r in routes
        for m in getattr(r, "methods", ())
        if r.path.startswith("/v1/")
    }
    documented = set(paths(client).values())
    assert served - UNDOCUMENTED <= documented


def test_answers_are_documented_with_their_status_and_type(client: Client) -> None:
    """RFC 9110: 202 for what is done later; RFC 4180: text/csv; RFC 9457: application/problem+json."""
    document = client.get("/openapi.json").json()["paths"]
    refit = document["/v1/model/refit"]["post"]
    assert {"202", "200", "default"} == set(refit["responses"])
    assert [parameter["name"] for parameter in refit["parameters"]] == ["wait"]
    assert list(document["/v1/shipments/import"]["post"]["requestBody"]["content"]) == ["text/csv"]
    assert list(document["/v1/shipments/export"]["get"]["responses"]["200"]["content"]) == ["text/csv"]
    for path, operations in document.items():
        for operation in operations.values():
            assert list(operation["responses"]["default"]["content"]) == ["application/problem+json"]
            assert ("security" in operation) == path.startswith("/v1/")


@pytest.mark.parametrize("name", ANSWERED_ALIKE)
def test_example_answers_as_recorded(client: Client, name: str) -> None:
    answer = answer_to(client, name, examples()[name])
    model = OPERATIONS[name].answer
    assert model is not None
    model.model_validate_json(json.dumps(answer))
    assert_alike(answer, examples()[name]["answer"])


def test_examples_of_a_shipment_are_one_life(ledger_client: Client) -> None:
    """Each answer has the fields recorded; what depends on the moment (ids, dates of recording) may differ."""
    for name, whole in shipment_life(ledger_client, examples()):
        answer, recorded = for_reading(whole), examples()[name]["answer"]
        if isinstance(answer, str):
            lines = [[line for line in text.splitlines() if not line.startswith("UID:")] for text in (answer, recorded)]
            assert lines[0] == lines[1]
            continue
        model = OPERATIONS[name].answer
        assert model is not None
        model.model_validate_json(json.dumps(recorded))
        assert answer.keys() == recorded.keys()
        for timeless in ("state", "plan", "forecast", "events", "arrival", "recheck", "claim"):
            if timeless in recorded:
                assert_alike(answer[timeless], recorded[timeless])


def test_examples_of_a_seller_are_one_record(ledger_client: Client) -> None:
    for name, answer in seller_record(ledger_client, examples()):
        model = OPERATIONS[name].answer
        assert model is not None
        model.model_validate_json(json.dumps(answer))
        assert_alike(answer, examples()[name]["answer"])


def test_references_in_the_document_resolve(client: Client) -> None:
    document = client.get("/openapi.json").json()
    referred = set(re.findall(r'"\$ref": "#/components/schemas/([^"]+)"', json.dumps(document)))
    assert referred <= document["components"]["schemas"].keys()
    assert {"RiskRequest", "CompareAnswer", "ProblemBody"} <= referred


def test_docs_page_loads_nothing_from_elsewhere(client: Client) -> None:
    response = client.get("/docs")
    assert response.headers["content-security-policy"].startswith("default-src 'none'; style-src 'sha256-")
    assert not re.search(r"<(script|link|img|iframe)|https?://|url\(|@import", response.text)
    for name, (method, path) in paths(client).items():
        assert f"<h2 id='{name}'><code>{method} {path}</code></h2>" in response.text


def test_docs_page_escapes_what_it_shows() -> None:
    operation = {
        "operationId": "x",
        "summary": "<b>",
        "responses": {"200": {"content": {"application/json": {"example": {"text": "</pre><script>"}}}}},
    }
    document = {
        "info": {"title": "<i>", "description": "<u>"},
        "paths": {"/x": {"get": operation}},
        "components": {"schemas": {}},
    }
    page = docs_page(document)
    assert "<script>" not in page
    assert "<b>" not in page
    assert "<i>" not in page
    assert "<u>" not in page
    assert "&lt;/pre&gt;&lt;script&gt;" in page
