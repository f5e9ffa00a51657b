"""The OpenAPI document: what each operation takes and gives, with examples that run as shown."""

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import BaseModel
from pydantic.json_schema import JsonSchemaMode, models_json_schema

from app.problems import MEDIA_TYPE
from app.schemas.compare import CompareAnswer, CompareRequest
from app.schemas.hold import HoldAnswer, HoldRequest
from app.schemas.model_page import ModelAnswer
from app.schemas.model_versions import ModelVersionsAnswer
from app.schemas.order_size import OrderSizeAnswer, OrderSizeRequest
from app.schemas.outlook import OutlookAnswer
from app.schemas.problem import HealthAnswer, ProblemBody
from app.schemas.reference import GeneraAnswer, PackingsAnswer, PlacesAnswer, ServicesAnswer
from app.schemas.risk import RiskAnswer, RiskRequest
from app.schemas.sellers import SellersAnswer
from app.schemas.shipment_answers import ShipmentAnswer, ShipmentsAnswer
from app.schemas.shipments import ArrivalRequest, ChangeRequest, PlanRequest, RecheckRequest
from app.schemas.track_record import TrackRecordAnswer
from app.schemas.wish_list import WishListAnswer, WishListRequest


@dataclass(frozen=True, slots=True)
class Operation:
    """The models of one operation; no request model for a GET, no answer model where nothing is answered.

    The example of an operation on `records` depends on what was recorded before, so it is checked against the models
    and not by making the call again.
    """

    answer: type[BaseModel] | None
    request: type[BaseModel] | None = None
    status: int = 200
    records: bool = False


OPERATIONS = {
    "risk": Operation(RiskAnswer, RiskRequest),
    "compare": Operation(CompareAnswer, CompareRequest),
    "hold": Operation(HoldAnswer, HoldRequest),
    "order_size": Operation(OrderSizeAnswer, OrderSizeRequest),
    "wish_list": Operation(WishListAnswer, WishListRequest),
    "model": Operation(ModelAnswer),
    "model_versions": Operation(ModelVersionsAnswer),
    "sellers": Operation(SellersAnswer),
    "plan_shipment": Operation(ShipmentAnswer, PlanRequest, status=201, records=True),
    "shipments": Operation(ShipmentsAnswer, records=True),
    "shipment": Operation(ShipmentAnswer, records=True),
    "change_shipment": Operation(ShipmentAnswer, ChangeRequest, records=True),
    "delete_shipment": Operation(None, status=204, records=True),
    "arrival": Operation(ShipmentAnswer, ArrivalRequest, records=True),
    "outlook": Operation(OutlookAnswer, records=True),
    "recheck": Operation(ShipmentAnswer, RecheckRequest, records=True),
    "track_record": Operation(TrackRecordAnswer, records=True),
    "genera": Operation(GeneraAnswer),
    "packings": Operation(PackingsAnswer),
    "places": Operation(PlacesAnswer),
    "services": Operation(ServicesAnswer),
    "health": Operation(HealthAnswer),
}


@cache
def examples() -> dict[str, dict[str, Any]]:
    """Return the example request (if it takes one) and the recorded answer of each operation, by its name."""
    text = resources.files("app.schemas").joinpath("examples.json").read_text(encoding="utf-8")
    loaded: dict[str, dict[str, Any]] = json.loads(text)
    return loaded


def _content(model: type[BaseModel], media_type: str = "application/json") -> dict[str, Any]:
    return {media_type: {"schema": {"$ref": f"#/components/schemas/{model.__name__}"}}}


def declared(name: str) -> dict[str, Any]:
    """Return what the route decorator is told about an operation."""
    operation = OPERATIONS[name]
    declaration: dict[str, Any] = {
        "operation_id": name,
        "response_model": None,
        "status_code": operation.status,
        "responses": {
            operation.status: {"description": "The answer"}
            | ({} if operation.answer is None else {"content": _content(operation.answer)}),
            "default": {"description": "A refusal", "content": _content(ProblemBody, MEDIA_TYPE)},
        },
    }
    if operation.request is not None:
        body = {"required": True, "content": _content(operation.request)}
        declaration["openapi_extra"] = {"requestBody": body}
    return declaration


def success(operation: dict[str, Any]) -> dict[str, Any]:
    """Return the answer to a call that succeeds, in the document's operation."""
    answer: dict[str, Any] = next(said for status, said in operation["responses"].items() if status.startswith("2"))
    return answer


def openapi_document(app: FastAPI) -> dict[str, Any]:
    """Return the OpenAPI document of the application."""
    document = get_openapi(title=app.title, version=app.version, description=app.description, routes=app.routes)
    models: list[tuple[type[BaseModel], JsonSchemaMode]] = [(ProblemBody, "serialization")]
    for operation in OPERATIONS.values():
        if operation.answer is not None:
            models.append((operation.answer, "serialization"))
        if operation.request is not None:
            models.append((operation.request, "validation"))
    _, definitions = models_json_schema(models, ref_template="#/components/schemas/{model}")
    document["components"] = {"schemas": definitions["$defs"]}
    for path in document["paths"].values():
        for operation in path.values():
            example = examples().get(operation["operationId"], {})
            if "request" in example:
                operation["requestBody"]["content"]["application/json"]["example"] = example["request"]
            if "answer" in example:
                success(operation)["content"]["application/json"]["example"] = example["answer"]
    return document
