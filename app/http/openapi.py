"""The OpenAPI document: what each operation takes and gives, with examples that run as shown."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from fastapi import FastAPI, Response
from fastapi.openapi.utils import get_openapi
from pydantic import BaseModel
from pydantic.json_schema import JsonSchemaMode, models_json_schema

from app.http.openapi_parameters import PARAMETERS
from app.http.shared_parts import composed
from app.problems import MEDIA_TYPE
from app.schemas import (
    ArrivalRequest,
    ChangeRequest,
    ClaimAnswer,
    CompareAnswer,
    CompareRequest,
    GeneraAnswer,
    HealthAnswer,
    HoldAnswer,
    HoldRequest,
    ImportAnswer,
    LessonsAnswer,
    ModelAnswer,
    ModelVersionsAnswer,
    OrderSizeAnswer,
    OrderSizeRequest,
    OutlookAnswer,
    PackingsAnswer,
    PlacesAnswer,
    PlanForecastAnswer,
    PlanRequest,
    ProblemBody,
    ReadyAnswer,
    RecheckRequest,
    RefitAnswer,
    RiskAnswer,
    RiskRequest,
    SellerAnswer,
    SellerRequest,
    SellersAnswer,
    ServicesAnswer,
    ShipmentAnswer,
    ShipmentsAnswer,
    TakeBackRequest,
    TrackRecordAnswer,
    WishListAnswer,
    WishListRequest,
    WorthKnowingAnswer,
    WorthKnowingRequest,
)

CSV_TYPE = "text/csv"


@dataclass(frozen=True, slots=True)
class Operation:
    """The models of one operation; no request model for a GET, no answer model where nothing is answered.

    The example of an operation on `records` depends on what was recorded before, so it is checked against the models
    and not by making the call again. `request_text` and `answer_text` are media types of bodies that are not JSON;
    `other_status` is that of the same answer on another occasion, `other_text` the type in which it may be asked for,
    `not_modified` whether a caller that has it already is told so. The parameters of its example are its `query`.
    """

    answer: type[BaseModel] | None
    request: type[BaseModel] | None = None
    status: int = 200
    records: bool = False
    request_text: str | None = None
    answer_text: str | None = None
    other_status: int | None = None
    other_text: str | None = None
    not_modified: bool = False


KEYS = {
    "key": {
        "type": "http",
        "scheme": "bearer",
        "description": "Needed once the ledger has keys (python -m app key new): 401 without a valid one. A key with"
        " the scope read may GET and compute; every change needs one with the scope write: 403 otherwise. A key expires"
        " on the day that was set when it was made. The headers RateLimit-Policy and RateLimit say how many calls a key"
        " may make in a minute, and how many are left (r) for so many seconds (t); one too many, or a key from an"
        " address that has sent many wrong ones, is answered 429 with Retry-After.",
    }
}

OPERATIONS = {
    "risk": Operation(RiskAnswer, RiskRequest),
    "risk_of_one": Operation(RiskAnswer, other_text=CSV_TYPE, not_modified=True),
    "compare": Operation(CompareAnswer, CompareRequest),
    "hold": Operation(HoldAnswer, HoldRequest),
    "order_size": Operation(OrderSizeAnswer, OrderSizeRequest),
    "wish_list": Operation(WishListAnswer, WishListRequest),
    "worth_knowing": Operation(WorthKnowingAnswer, WorthKnowingRequest),
    "model": Operation(ModelAnswer),
    "lessons": Operation(LessonsAnswer),
    "model_versions": Operation(ModelVersionsAnswer),
    "refit": Operation(RefitAnswer, status=202, other_status=200, records=True),
    "refit_state": Operation(RefitAnswer, records=True),
    "activate_version": Operation(ModelVersionsAnswer, records=True),
    "end_hold": Operation(ModelVersionsAnswer, records=True),
    "import_shipments": Operation(ImportAnswer, records=True, request_text=CSV_TYPE),
    "export_shipments": Operation(None, records=True, answer_text=CSV_TYPE),
    "sellers": Operation(SellersAnswer),
    "seller": Operation(SellerAnswer, records=True),
    "record_seller": Operation(SellerAnswer, SellerRequest, records=True),
    "plan_shipment": Operation(ShipmentAnswer, PlanRequest, status=201, records=True),
    "shipments": Operation(ShipmentsAnswer, records=True),
    "shipment": Operation(ShipmentAnswer, records=True),
    "change_shipment": Operation(ShipmentAnswer, ChangeRequest, records=True),
    "change_plan": Operation(ShipmentAnswer, PlanRequest, records=True),
    "delete_shipment": Operation(None, status=204, records=True),
    "arrival": Operation(ShipmentAnswer, ArrivalRequest, records=True),
    "confirm": Operation(ShipmentAnswer, records=True),
    "outlook": Operation(OutlookAnswer, records=True),
    "take_back": Operation(ShipmentAnswer, TakeBackRequest, records=True),
    "recheck": Operation(ShipmentAnswer, RecheckRequest, records=True),
    "track_record": Operation(TrackRecordAnswer, records=True),
    "claim": Operation(ClaimAnswer, records=True),
    "calendar": Operation(None, records=True, answer_text="text/calendar"),
    "shipment_calendar": Operation(None, records=True, answer_text="text/calendar"),
    "genera": Operation(GeneraAnswer),
    "packings": Operation(PackingsAnswer),
    "places": Operation(PlacesAnswer),
    "services": Operation(ServicesAnswer),
    "health": Operation(HealthAnswer),
    "ready": Operation(ReadyAnswer),
}


@cache
def examples() -> dict[str, dict[str, Any]]:
    """Return the example request (if it takes one) and the recorded answer of each operation, by its name."""
    text = resources.files("app.schemas").joinpath("examples.json").read_text(encoding="utf-8")
    loaded: dict[str, dict[str, Any]] = composed(json.loads(text))
    return loaded


def _content(model: type[BaseModel] | None, media_type: str = "application/json") -> dict[str, Any]:
    schema = {"type": "string"} if model is None else {"$ref": f"#/components/schemas/{model.__name__}"}
    return {media_type: {"schema": schema}}


def declared(name: str) -> dict[str, Any]:
    """Return what the route decorator is told about an operation."""
    operation = OPERATIONS[name]
    answer: dict[str, Any] = {"description": "The answer"}
    if operation.answer is not None or operation.answer_text is not None:
        answer["content"] = _content(operation.answer, operation.answer_text or "application/json")
    if operation.other_text is not None:
        answer["content"] |= _content(None, operation.other_text)
    statuses = [status for status in (operation.status, operation.other_status) if status is not None]
    declaration: dict[str, Any] = {
        "operation_id": name,
        "response_model": None,
        "status_code": operation.status,
        "responses": {
            **dict.fromkeys(statuses, answer),
            **({304: {"description": "The same as the caller has"}} if operation.not_modified else {}),
            "default": {"description": "A refusal", "content": _content(ProblemBody, MEDIA_TYPE)},
        },
    }
    if operation.answer_text is not None:
        # The framework's usual class would add JSON.
        declaration["response_class"] = Response
    if operation.request is not None or operation.request_text is not None:
        content = _content(operation.request, operation.request_text or "application/json")
        declaration["openapi_extra"] = {"requestBody": {"required": True, "content": content}}
    if name in PARAMETERS:
        extra = declaration.setdefault("openapi_extra", {})
        extra["parameters"] = [parameter.as_json() for parameter in PARAMETERS[name]]
    return declaration


def success(operation: dict[str, Any]) -> dict[str, Any]:
    """Return the answer to a call that succeeds, in the document's operation."""
    answer: dict[str, Any] = next(said for status, said in operation["responses"].items() if status.startswith("2"))
    return answer


def preferred(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is said of a body in the type that it has unless another is asked for: the first."""
    media: dict[str, Any] = next(iter(content.values()))
    return media


def openapi_document(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI document of the application."""
    document = get_openapi(title=app.title, version=app.version, description=app.description, routes=app.routes)
    models: list[tuple[type[BaseModel], JsonSchemaMode]] = [
        (ProblemBody, "serialization"),
        (PlanForecastAnswer, "serialization"),
    ]
    for operation in OPERATIONS.values():
        if operation.answer is not None:
            models.append((operation.answer, "serialization"))
        if operation.request is not None:
            models.append((operation.request, "validation"))
    _, definitions = models_json_schema(models, ref_template="#/components/schemas/{model}")
    document["components"] = {"schemas": definitions["$defs"], "securitySchemes": KEYS}
    for path, operations in document["paths"].items():
        for operation in operations.values():
            if path.startswith("/v1/"):
                operation["security"] = [{}, {"key": []}]
            example = examples().get(operation["operationId"], {})
            for parameter in operation.get("parameters", ()):
                if parameter["name"] in example.get("query", {}):
                    parameter["example"] = example["query"][parameter["name"]]
            if "request" in example:
                preferred(operation["requestBody"]["content"])["example"] = example["request"]
            if "answer" in example:
                preferred(success(operation)["content"])["example"] = example["answer"]
    return document
