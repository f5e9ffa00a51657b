"""The batch of plants and the routes it may take: what comparing, holding and sizing an order all ask about."""

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from app.schemas.fields import (
    DAYS_WORDS,
    Amount,
    Boxes,
    ColdPacks,
    Confidence,
    ContainerCode,
    Currency,
    DayRange,
    DaysInTransit,
    Draws,
    Fault,
    HeatPackHours,
    HeatPacks,
    Hours,
    LocalDate,
    PlaceCode,
    Quantity,
    Rate,
    RememberedDays,
    RequestModel,
    RootsCode,
    Seed,
    SellerKind,
    ServiceCode,
    Share,
    Text,
    ValidDays,
    default_heat_packs,
    inverted_ranges,
    refuse,
)
from model.reference import CONSTANTS


class Packing(RequestModel):
    """How each box is packed."""

    container: ContainerCode = "foam_box"
    roots: RootsCode = "damp_wrap"
    heat_pack_hours: HeatPackHours = Field(default=0, description="rating of one heat pack, hours, 0 to 240")
    heat_packs: HeatPacks = Field(
        default_factory=default_heat_packs,
        description="a box, 0 to 20; 1 unless given where heat_pack_hours is over 0",
    )
    cold_packs: ColdPacks = Field(
        default=0, description=f"ice packs of {CONSTANTS.cold_pack_ice_kg} kg each a box, 0 to 50"
    )
    capacity: Quantity | None = Field(default=None, description="plants a box, 1 to 100,000; null: as the container")
    wait_hours: Hours | None = Field(
        default=None,
        description=f"from closing the box to its pick-up, hours, 0 to 2,160; null: {CONSTANTS.wait_h:g}",
    )


class Line(RequestModel):
    """Plants of one kind."""

    genus: Text = Field(description="botanical genus, up to 120 characters")
    cultivar: Text | None = Field(default=None, description="up to 120 characters")
    quantity: Quantity = Field(description="plants, 1 to 100,000")
    unit_cost: Amount = Field(description="paid for one, 0 to 1e9")
    sale_value: Amount = Field(description="what the buyer takes for one, without sales tax, 0 to 1e9")


class Costs(RequestModel):
    """Costs of the batch beside plants and freight; null: not counted, and listed under ``not_counted``."""

    phyto: Amount | None = Field(default=None, description="phytosanitary certificate, a waybill, 0 to 1e9")
    permit: Amount | None = Field(default=None, description="import permit, the share of this batch, 0 to 1e9")
    other: Amount | None = Field(default=None, description="anything else, 0 to 1e9")
    duty_rate: Rate | None = Field(default=None, description="0 to 2")
    tax_rate: Rate | None = Field(default=None, description="import tax on dutiable value and duty, 0 to 2")
    dutiable: Literal["plants", "plants_and_freight"] | None = Field(default=None, description="what duty is taken on")
    tax_reclaimed_share: Share | None = Field(default=None, description="share of import tax reclaimed, 0 to 1")


class Recourse(RequestModel):
    """What the seller does about plants dead on arrival."""

    kind: Literal["refund", "replacement", "none"] = "none"
    chance: Share = Field(default=CONSTANTS.claim_chance, description="that a claim is honoured, 0 to 1")
    claim_window_hours: Hours | None = Field(
        default=CONSTANTS.claim_window_h, description="from delivery, hours, 0 to 2,160"
    )
    payment_window_days: ValidDays | None = Field(
        default=None, description="within which the payment can be disputed, days, 0 to 3,650"
    )


class RiskLimit(RequestModel):
    """How much loss is bearable."""

    max_loss_share: Share = Field(
        default=CONSTANTS.bearable_loss_share, description="dead / sent that is bearable, 0 to 1"
    )
    confidence: Confidence = Field(
        default=CONSTANTS.wanted_confidence, description="wanted chance of staying within it, 0.5 to 0.999"
    )


class Paperwork(RequestModel):
    """Papers in hand before departure; null: taken as in hand, with a caution."""

    import_permit: bool | None = None
    phytosanitary_certificate: bool | None = None
    invoice: bool | None = None
    waybill_copy: bool | None = None


class TransitTimes(RequestModel):
    """Quantiles of the time to the door, delays included: p10 < p50 < p90, or all three equal for a fixed time.

    Days on which the service does not work come on top.
    """

    p10: DaysInTransit = Field(description=DAYS_WORDS)
    p50: DaysInTransit = Field(description=DAYS_WORDS)
    p90: DaysInTransit = Field(description=DAYS_WORDS)

    @model_validator(mode="after")
    def _rise(self) -> Self:
        faults: list[Fault] = []
        if not self.p10 == self.p50 == self.p90:
            if not self.p10 < self.p50:
                faults.append((("p10",), "must be below p50, or all three equal"))
            if not self.p50 < self.p90:
                faults.append((("p90",), "must be above p50, or all three equal"))
        refuse(faults)
        return self


class Route(RequestModel):
    """One way to send the batch."""

    name: Text = Field(description="unique among the routes, up to 120 characters")
    service: ServiceCode
    freight: Amount = Field(description="of one box, 0 to 1e9")
    handling: Amount | None = Field(default=None, description="clearance and handling, a waybill, 0 to 1e9")
    collection: Amount | None = Field(default=None, description="fetching it from the airport, a waybill, 0 to 1e9")
    boxes: Boxes | None = Field(default=None, description="1 to 100; null: as many as the quantity needs")
    travel: Literal["together", "apart"] = Field(
        default="together", description="one waybill and one fate, or each box on its own"
    )
    transit_days: TransitTimes | None = Field(default=None, description="null: the usual of service and lane")
    recent_days: Annotated[list[RememberedDays], Field(min_length=1, max_length=20)] | None = Field(
        default=None,
        description="what the last 1 to 20 boxes took by this service on this lane, days from door to door as"
        " remembered, 0.5 to 90; they update the usual times. Without boxes on record here, days on which nobody"
        " worked, and transit_days",
    )

    @model_validator(mode="after")
    def _one_source_of_times(self) -> Self:
        if self.transit_days is not None and self.recent_days is not None:
            refuse([(("recent_days",), "must be left out where transit_days are given, which they would update")])
        return self


class ForecastDay(DayRange):
    """Forecast outside air of one day."""

    date: LocalDate


class Batch(RequestModel):
    """A batch, its lane and its routes."""

    origin: PlaceCode = Field(description="IATA code of an airport or city")
    destination: PlaceCode = Field(description="IATA code of an airport or city")
    currency: Currency = Field(default="EUR", description="a label, ISO 4217: nothing is converted")
    seller: Text | None = Field(default=None, description="name of the seller, up to 120 characters")
    seller_kind: SellerKind | None = Field(default=None, description="a prior for a seller without a record")
    packing: Packing = Packing()
    lines: Annotated[list[Line], Field(min_length=1, max_length=200)]
    costs: Costs = Costs()
    recourse: Recourse = Recourse()
    damaged_value_share: Share = Field(
        default=CONSTANTS.damaged_value_share, description="what a damaged plant brings, of sale_value, 0 to 1"
    )
    risk: RiskLimit = RiskLimit()
    paperwork: Paperwork = Paperwork()
    routes: Annotated[list[Route], Field(min_length=1, max_length=10)]
    forecast: dict[str, Annotated[list[ForecastDay], Field(min_length=1, max_length=366)]] = Field(
        default={}, description="by place code, origin or destination"
    )
    closed_dates: Annotated[list[LocalDate], Field(max_length=366)] = Field(
        default=[], description="days without work at the destination beside weekends and public holidays"
    )
    open_dates: Annotated[list[LocalDate], Field(max_length=366)] = Field(
        default=[],
        description="weekends and public holidays on which the service works all the same, wherever the box is",
    )
    public_holidays: bool = Field(
        default=True, description="whether services rest on the public holidays of origin, hub and destination"
    )
    draws: Draws = Field(
        default=4096, description="simulated journeys, 256 to 65,536; left out, fewer where that takes long"
    )
    seed: Seed = Field(default=1, description="same seed, same answer; 0 to 2^53-1")

    @model_validator(mode="after")
    def _fields_agree(self) -> Self:
        refuse(self.disagreements())
        return self

    def disagreements(self) -> list[Fault]:
        """Return the faults between fields that are each in range."""
        faults: list[Fault] = []
        names: set[str] = set()
        for i, route in enumerate(self.routes):
            if route.name in names:
                faults.append((("routes", i, "name"), "must differ from the names of the routes before it"))
            names.add(route.name)
        for place, days in self.forecast.items():
            if place not in (self.origin, self.destination):
                faults.append((("forecast", place), "must be a place on the route: the code of origin or destination"))
            faults += inverted_ranges(days, ("forecast", place))
            seen: set[date] = set()
            for i, day in enumerate(days):
                if day.date in seen:
                    faults.append((("forecast", place, i, "date"), "must differ from the dates before it"))
                seen.add(day.date)
        return faults
