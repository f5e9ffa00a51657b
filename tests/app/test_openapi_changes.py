"""The OpenAPI document against the one that callers were promised, and the comparison itself on documents by hand."""

import json
from typing import Any

import pytest

from tests.app.api_changes import bare, changes
from tests.app.record_openapi import SNAPSHOT_FILE, document_of_the_day

RECORD = "record it with python -m tests.app.record_openapi, and say so in CHANGELOG.md"


def test_document_breaks_nothing_that_was_promised() -> None:
    promised, today = json.loads(SNAPSHOT_FILE.read_text(encoding="utf-8")), document_of_the_day()
    found = changes(promised, today)
    assert not found.breaking, "breaks callers:\n" + "\n".join(found.breaking)
    assert not found.additions, f"new, {RECORD}:\n" + "\n".join(found.additions)
    assert today == promised, f"reads otherwise, {RECORD}"


def by_hand() -> dict[str, Any]:
    """Return a document of an invented API of two calls."""
    reference = {"application/json": {"schema": {"$ref": "#/components/schemas/Order"}}}
    answer = {"application/json": {"schema": {"$ref": "#/components/schemas/Bill"}}}
    return {
        "info": {"title": "Invented", "version": "1"},
        "paths": {
            "/orders": {
                "post": {
                    "summary": "Order",
                    "parameters": [{"in": "query", "name": "wait", "required": False, "schema": {"type": "integer"}}],
                    "requestBody": {"required": True, "content": reference},
                    "responses": {"201": {"description": "made", "content": answer}},
                    "security": [{}, {"key": []}],
                },
                "get": {"responses": {"200": {"description": "all", "content": answer}}},
            }
        },
        "components": {
            "schemas": {
                "Order": {
                    "type": "object",
                    "additionalProperties": False,
                    "required": ["kind"],
                    "properties": {
                        "kind": {"enum": ["fern", "palm"], "type": "string"},
                        "number": {"type": "integer", "minimum": 1, "maximum": 9, "default": 1},
                        "weight": {"anyOf": [{"type": "number"}, {"type": "null"}]},
                        "title": {"type": "string", "maxLength": 20},
                        "pots": {"type": "array", "maxItems": 3, "items": {"$ref": "#/components/schemas/Pot"}},
                    },
                },
                "Pot": {"type": "object", "properties": {"width": {"type": "number", "exclusiveMinimum": 0}}},
                "Bill": {
                    "type": "object",
                    "required": ["total", "state"],
                    "properties": {
                        "total": {"type": "integer", "minimum": 0},
                        "state": {"enum": ["open", "paid"], "type": "string"},
                        "due": {"type": "string", "format": "date"},
                        "notes": {"type": "object", "additionalProperties": {"type": "string"}},
                    },
                },
            }
        },
    }


POST = ("paths", "/orders", "post")
ORDER = ("components", "schemas", "Order")
FIELDS = (*ORDER, "properties")
BILL = ("components", "schemas", "Bill")
ANSWERED = (*BILL, "properties")
GONE = object()
JSON = "application/json"
BREAKING: list[tuple[tuple[str | int, ...], Any, str]] = [
    (("paths", "/orders"), GONE, "POST /orders: removed"),
    (("paths", "/orders", "get"), GONE, "GET /orders: removed"),
    ((*POST, "parameters", 0), GONE, "POST /orders, query wait: removed"),
    ((*POST, "parameters", 0, "required"), True, "POST /orders, query wait: now required"),
    ((*POST, "parameters", 0, "schema", "maximum"), 60, "POST /orders, query wait: maximum None is now 60"),
    ((*POST, "requestBody", "content", JSON), GONE, "POST /orders, body: application/json removed"),
    ((*POST, "responses", "201"), GONE, "POST /orders: status 201 removed"),
    ((*POST, "responses", "202"), {"description": "later"}, "POST /orders: status 202 added"),
    ((*POST, "responses", "201", "content", JSON), GONE, "POST /orders, 201: application/json removed"),
    ((*POST, "security"), [{"key": []}], "POST /orders: asks for a key"),
    ((*FIELDS, "title"), GONE, "request Order/title: request field removed"),
    ((*ORDER, "required"), ["kind", "title"], "request Order/title: now required"),
    ((*FIELDS, "kind", "enum"), ["fern"], "request Order/kind: values fern, palm is now fern"),
    ((*FIELDS, "kind"), {"const": "fern", "type": "string"}, "request Order/kind: values fern, palm is now fern"),
    ((*FIELDS, "number", "minimum"), 2, "request Order/number: minimum 1 is now 2"),
    ((*FIELDS, "number", "maximum"), 8, "request Order/number: maximum 9 is now 8"),
    ((*FIELDS, "number", "default"), 2, "request Order/number: default 1 is now 2"),
    ((*FIELDS, "number", "exclusiveMaximum"), 9, "request Order/number: exclusiveMaximum None is now 9"),
    ((*FIELDS, "title", "maxLength"), 10, "request Order/title: maxLength 20 is now 10"),
    ((*FIELDS, "title", "pattern"), "^a", "request Order/title: pattern None is now ^a"),
    ((*FIELDS, "title", "type"), "integer", "request Order/title: no longer string"),
    ((*FIELDS, "weight"), {"type": "number"}, "request Order/weight: no longer null"),
    ((*FIELDS, "weight", "anyOf", 0, "type"), "integer", "request Order/weight: whole numbers only"),
    ((*FIELDS, "pots", "maxItems"), 2, "request Order/pots: maxItems 3 is now 2"),
    (("components", "schemas", "Pot", "properties", "width", "exclusiveMinimum"), 1,
     "request Pot/width: exclusiveMinimum 0 is now 1"),
    (("components", "schemas", "Pot", "additionalProperties"), False, "request Pot: no longer takes other fields"),
    ((*ANSWERED, "total"), GONE, "answer Bill/total: answer field removed"),
    ((*BILL, "required"), ["total"], "answer Bill/state: no longer required"),
    ((*ANSWERED, "total", "type"), "number", "answer Bill/total: any number"),
    ((*ANSWERED, "total", "minimum"), GONE, "answer Bill/total: minimum 0 is now None"),
    ((*ANSWERED, "state", "enum"), ["open", "paid", "lost"], "answer Bill/state: values open, paid is now lost, open, "
     "paid"),
    ((*ANSWERED, "due", "format"), "date-time", "answer Bill/due: format date is now date-time"),
    ((*ANSWERED, "due"), {"anyOf": [{"type": "string", "format": "date"}, {"type": "null"}]},
     "answer Bill/due: now also null"),
    ((*ANSWERED, "notes", "additionalProperties", "type"), "number", "answer Bill/notes/*: now also number"),
]  # fmt: skip
ADDED: list[tuple[tuple[str | int, ...], Any, str]] = [
    (("paths", "/bills"), {"get": {"responses": {}}}, "GET /bills: added"),
    ((*POST, "parameters", 0, "schema", "type"), "number", "POST /orders, query wait: any number"),
    ((*POST, "responses", "201", "content", "text/csv"), {"schema": {}}, "POST /orders, 201: text/csv added"),
    ((*FIELDS, "colour"), {"type": "string"}, "request Order/colour: request field added"),
    ((*ORDER, "required"), [], "request Order/kind: no longer required"),
    ((*FIELDS, "kind", "enum"), ["fern", "palm", "moss"],
     "request Order/kind: values fern, palm is now fern, moss, palm"),
    ((*FIELDS, "number", "maximum"), 99, "request Order/number: maximum 9 is now 99"),
    ((*FIELDS, "number", "minimum"), GONE, "request Order/number: minimum 1 is now None"),
    ((*FIELDS, "title"), {"anyOf": [{"type": "string", "maxLength": 20}, {"type": "null"}]},
     "request Order/title: now also null"),
    ((*ANSWERED, "paid_on"), {"type": "string"}, "answer Bill/paid_on: answer field added"),
    ((*BILL, "required"), ["total", "state", "due"], "answer Bill/due: now required"),
    ((*ANSWERED, "state", "enum"), ["open"], "answer Bill/state: values open, paid is now open"),
]  # fmt: skip


def changed(place: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    """Return the document by hand with one place changed, or without it."""
    document: Any = json.loads(json.dumps(by_hand()))  # parts that stand twice are two from here on
    part = document
    for key in place[:-1]:
        part = part[key]
    if value is GONE:
        del part[place[-1]]
    else:
        part[place[-1]] = value
    return bare(document)  # type: ignore[no-any-return]


@pytest.mark.parametrize(("place", "value", "said"), BREAKING, ids=[said for *_, said in BREAKING])
def test_what_breaks_a_caller_is_named(place: tuple[str | int, ...], value: Any, said: str) -> None:
    assert said in changes(bare(by_hand()), changed(place, value)).breaking


@pytest.mark.parametrize(("place", "value", "said"), ADDED, ids=[said for *_, said in ADDED])
def test_what_breaks_nobody_is_an_addition(place: tuple[str | int, ...], value: Any, said: str) -> None:
    found = changes(bare(by_hand()), changed(place, value))
    assert (found.breaking, found.additions) == ([], [said])


def test_a_new_field_that_must_be_sent_breaks() -> None:
    document = changed((*FIELDS, "colour"), {"type": "string"})
    document["components"]["schemas"]["Order"]["required"].append("colour")
    assert changes(bare(by_hand()), document).breaking == ["request Order/colour: request field added and required"]


def test_prose_and_names_of_schemas_are_no_change() -> None:
    document = json.loads(json.dumps(by_hand()).replace("#/components/schemas/Pot", "#/components/schemas/Planter"))
    document["components"]["schemas"]["Planter"] = document["components"]["schemas"].pop("Pot")
    document["paths"]["/orders"]["post"]["summary"] = "Another word"
    document["info"]["version"] = "2"
    found = changes(bare(by_hand()), bare(document))
    assert (found.breaking, found.additions) == ([], [])
    assert "title" in bare(by_hand())["components"]["schemas"]["Order"]["properties"], "a field, not prose"


def test_same_document_changes_nothing() -> None:
    found = changes(document_of_the_day(), document_of_the_day())
    assert (found.breaking, found.additions) == ([], [])
