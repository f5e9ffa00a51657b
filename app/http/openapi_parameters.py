"""What operations read beside their path and body, for the OpenAPI document."""

from dataclasses import dataclass, field
from typing import Any, Literal, get_args

from app.schemas import (
    RISK_COLUMNS,
    RISK_FORMATS,
    ContainerCode,
    RootsCode,
    SellerKind,
    ServiceCode,
    ShipmentState,
)


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

_NUMBER, _INTEGER = {"type": "number"}, {"type": "integer"}
ONE_LINE = (
    Parameter("genus", "query", "botanical genus; required"),
    Parameter("transit_days", "query", "closing the box to opening it; required", _NUMBER),
    Parameter("inside_c", "query", "air in the box, °C; or origin and destination, or min_c and max_c", _NUMBER),
    Parameter("origin", "query", "seasonal normals along the lane, with destination, service and ship_date: IATA code"),
    Parameter("destination", "query", "IATA code"),
    Parameter("min_c", "query", "outside air, the same each day, with max_c: its lowest, °C", _NUMBER),
    Parameter("max_c", "query", "its highest, °C", _NUMBER),
    Parameter("cultivar", "query", "a name"),
    Parameter("seller", "query", "a name"),
    Parameter("seller_kind", "query", "a prior for a seller without a record", {"enum": list(get_args(SellerKind))}),
    Parameter("service", "query", "how the box travels", {"enum": list(get_args(ServiceCode))}),
    Parameter("container", "query", "foam_box unless given", {"enum": list(get_args(ContainerCode))}),
    Parameter("roots", "query", "damp_wrap unless given", {"enum": list(get_args(RootsCode))}),
    Parameter("heat_pack_hours", "query", "rating of one heat pack, hours", _NUMBER),
    Parameter("heat_packs", "query", "1 unless given where heat_pack_hours is over 0", _INTEGER),
    Parameter("cold_packs", "query", "ice packs", _INTEGER),
    Parameter("ship_date", "query", "local date at origin, YYYY-MM-DD"),
    Parameter("format", "query", "csv or json; by the header Accept unless given", {"enum": list(RISK_FORMATS)}),
    Parameter(
        "only",
        "query",
        f"of CSV: some columns, with commas between, of {', '.join(RISK_COLUMNS)}; then without names",
    ),
    Parameter("header", "query", "of CSV: whether the names stand in a row before", {"type": "boolean"}),
    Parameter("If-None-Match", "header", "the ETag of an answer that is there already: 304 if it is still the same"),
)

PARAMETERS: dict[str, tuple[Parameter, ...]] = {
    "risk_of_one": ONE_LINE,
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
