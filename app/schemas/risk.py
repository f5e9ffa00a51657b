"""``POST /v1/risk``: the chances of many lines of plants in one call."""

from typing import Annotated, Any, Self

from pydantic import Discriminator, Field, Tag, model_validator

from app.schemas.answers import AnswerModel, Caution
from app.schemas.fields import (
    DAYS_WORDS,
    ColdPacks,
    ContainerCode,
    DayRanges,
    DaysInTransit,
    Fault,
    HeatPackHours,
    HeatPacks,
    LocalDate,
    PlaceCode,
    RequestModel,
    RootsCode,
    SellerKind,
    ServiceCode,
    TemperatureC,
    Text,
    default_heat_packs,
    refuse,
)
from model.reference import CONSTANTS


class InsideTemperature(RequestModel):
    """Air in the box, held constant."""

    inside_c: TemperatureC = Field(description="air in the box, °C, -40 to 60")


class DailyTemperature(RequestModel):
    """Outside air day by day; the box model gives the air inside."""

    daily: DayRanges = Field(description="outside air, one entry a day from closing the box; the last one repeats")


class LaneTemperature(RequestModel):
    """Seasonal normals along the legs of a service between two places; needs ``ship_date``."""

    origin: PlaceCode = Field(description="IATA code of an airport or city")
    destination: PlaceCode = Field(description="IATA code of an airport or city")
    service: ServiceCode = Field(description="whose legs the box travels")


def _shape(value: Any) -> str | None:
    if isinstance(value, dict):
        if "inside_c" in value:
            return "InsideTemperature"
        if "daily" in value:
            return "DailyTemperature"
        if "origin" in value or "destination" in value:
            return "LaneTemperature"
        return None
    return type(value).__name__


# The shape is decided by the keys, so that a fault is reported for the one shape that was meant.
Temperature = Annotated[
    Annotated[InsideTemperature, Tag("InsideTemperature")]
    | Annotated[DailyTemperature, Tag("DailyTemperature")]
    | Annotated[LaneTemperature, Tag("LaneTemperature")],
    Discriminator(_shape),
]


class RiskQuery(RequestModel):
    """One line of plants in a box."""

    genus: Text = Field(description="botanical genus, up to 120 characters")
    cultivar: Text | None = Field(default=None, description="up to 120 characters")
    seller: Text | None = Field(default=None, description="name of the seller, up to 120 characters")
    seller_kind: SellerKind | None = Field(default=None, description="a prior for a seller without a record")
    service: ServiceCode | None = Field(default=None, description="how the box travels")
    container: ContainerCode = "foam_box"
    roots: RootsCode = "damp_wrap"
    heat_pack_hours: HeatPackHours = Field(default=0, description="rating of one heat pack, hours, 0 to 240")
    heat_packs: HeatPacks = Field(
        default_factory=default_heat_packs, description="0 to 20; 1 unless given where heat_pack_hours is over 0"
    )
    cold_packs: ColdPacks = Field(default=0, description=f"ice packs of {CONSTANTS.cold_pack_ice_kg} kg each, 0 to 50")
    transit_days: DaysInTransit = Field(description=f"closing the box to opening it, {DAYS_WORDS}")
    ship_date: LocalDate | None = Field(default=None, description="local date at origin")
    temperature: Temperature


class RiskRequest(RequestModel):
    """Up to 10,000 queries, answered in the order asked."""

    queries: Annotated[list[RiskQuery], Field(min_length=1, max_length=10_000)]

    @model_validator(mode="after")
    def _lanes_have_dates(self) -> Self:
        faults: list[Fault] = [
            (("queries", i, "ship_date"), "is required for a temperature by origin and destination: YYYY-MM-DD")
            for i, query in enumerate(self.queries)
            if query.ship_date is None and type(query.temperature) is LaneTemperature
        ]
        refuse(faults)
        return self


class ChanceInterval(AnswerModel):
    """A chance with its 80 % credible interval."""

    mean: float = Field(ge=0, le=1)
    low: float = Field(ge=0, le=1)
    high: float = Field(ge=0, le=1)


class RiskEvidence(AnswerModel):
    """How much of the answer rests on boxes and how much on rules of thumb."""

    shipments: int = Field(ge=0, description="boxes behind the answer")
    plants: int = Field(ge=0, description="plants behind the answer")
    weight: float = Field(ge=0, le=1, description="0: rules of thumb only; 1: own boxes only")


class RiskResult(AnswerModel):
    """The chances of a plant of one line, in a box not yet seen."""

    healthy: ChanceInterval = Field(description="at unboxing")
    damaged: ChanceInterval = Field(description="at unboxing")
    dead: ChanceInterval = Field(description="at unboxing")
    healthy_two_weeks: ChanceInterval = Field(description="also counts injury that shows late")
    equivalent_days: float = Field(ge=0, description="days at 20 °C with the same damage, median over the draws")
    evidence: RiskEvidence
    cautions: list[Caution]


class RiskAnswer(AnswerModel):
    """Results in the order asked."""

    model_version: str
    results: list[RiskResult]
