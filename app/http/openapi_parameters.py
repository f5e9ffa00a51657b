"""What operations read beside their path and body, for the OpenAPI document."""

from dataclasses import dataclass, field
from typing import Any, Literal, get_args

from app.schemas import ShipmentState


@dataclass(frozen=True, slots=True)
class Parameter:
    """A header or a part of the query."""

    name: str
    place: Literal["header", "query"]
    description: str
    schema: dict[str, Any] = field(default_factory=lambda: {"type": "string"})

    def as_json(self) -> dict[str, Any]:
        """Return the parameter as it stands in the document; the refusals of one that is left out are in the text."""
        return {
            "name": self.name,
            "in": self.place,
            "required": False,
            "description": self.description,
            "schema": self.schema,
        }


IF_MATCH = Parameter("If-Match", "header", "the ETag of the version that is changed; 428 without, 412 if stale")
IF_NONE_MATCH = Parameter("If-None-Match", "header", "* for a new one; 412 if there is one already")
IDEMPOTENCY_KEY = Parameter(
    "Idempotency-Key", "header", "1 to 200 characters; the same call made again within 7 days is answered, not done"
)
PAGE = (
    Parameter("state", "query", "planned, in_transit, arrived or lost", {"enum": list(get_args(ShipmentState))}),
    Parameter("reference", "query", "the shipment of this reference"),
    Parameter("limit", "query", "shipments a page", {"type": "integer", "minimum": 1, "maximum": 500, "default": 100}),
    Parameter("cursor", "query", "the next_cursor of the page before"),
)

PARAMETERS: dict[str, tuple[Parameter, ...]] = {
    "record_seller": (IF_MATCH, IF_NONE_MATCH),
    "plan_shipment": (IDEMPOTENCY_KEY,),
    "shipments": PAGE,
    "change_shipment": (IF_MATCH,),
    "change_plan": (IF_MATCH,),
    "delete_shipment": (IF_MATCH,),
    "arrival": (IF_MATCH,),
    "confirm": (IF_MATCH,),
    "recheck": (IF_MATCH,),
}
"""By operation."""
