"""The OpenAPI document and its page: examples run as shown."""

import json
import re
from typing import Any

import pytest

from app.docs_page import docs_page
from app.openapi import OPERATIONS, examples
from tests.app.client import Client
from tests.app.record_examples import answer_to, for_reading, paths, shipment_life

NAMES = sorted(OPERATIONS)
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
    assert all(("request" in examples()[name]) == (OPERATIONS[name].request is not None) for name in NAMES)


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
        model = OPERATIONS[name].answer
        assert model is not None
        model.model_validate_json(json.dumps(recorded))
        assert answer.keys() == recorded.keys()
        for timeless in ("state", "plan", "forecast", "events", "arrival", "recheck", "claim"):
            if timeless in recorded:
                assert_alike(answer[timeless], recorded[timeless])


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
