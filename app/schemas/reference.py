"""The reference lists: genera, packings, places, services, each row with source and status."""

from typing import Annotated, Literal

from pydantic import Field

from app.schemas.answers import AnswerModel
from model.reference import STATUSES


class ReferenceRow(AnswerModel):
    """What every row carries."""

    source: str = Field(description="the published source, or how the value was come by")
    status: str = Field(description=f"from the surest to the least sure: {'; '.join(STATUSES)}")


class GenusRow(ReferenceRow):
    """A genus of the trade; its source holds those of its columns, its status is the least sure of theirs."""

    genus: str
    group: str = Field(description="growth group")
    time_ratio: float = Field(gt=0, description="time survived against an average aroid, at 20 °C")
    time_ratio_sd_log: float = Field(ge=0, description="standard deviation of its logarithm")
    time_ratio_source: str
    time_ratio_status: str
    chill_threshold_c: float = Field(description="°C below which cold injures")
    threshold_source: str
    threshold_status: str
    chill_class: str = Field(description="sensitivity below the threshold")
    class_source: str
    class_status: str
    cites: str | None = Field(description="why a CITES permit may be needed, null if not listed")
    irritant_sap: bool
    note: str | None = Field(description="what else is to be known of it")
    names: list[str] = Field(description="older and trade names answered as this genus")


class ContainerRow(ReferenceRow):
    """A container."""

    kind: Literal["container"] = "container"
    code: str
    name: str
    length_m: float
    width_m: float
    height_m: float
    wall_m: float
    conductivity_w_per_mk: float
    heat_capacity_j_per_k: float
    capacity: int = Field(description="plants a box")
    time_ratio: float
    time_ratio_sd_log: float


class RootsRow(ReferenceRow):
    """A treatment of the roots."""

    kind: Literal["roots"] = "roots"
    code: str
    name: str
    time_ratio: float
    arid_time_ratio: float = Field(description="the same for succulents and cacti")
    time_ratio_sd_log: float


Monthly = Annotated[list[float], Field(min_length=12, max_length=12)]


class PlaceRow(ReferenceRow):
    """A gateway with its monthly normals."""

    iata: str
    city: str
    country: str
    lat: float
    lon: float
    elev_m: float
    time_zone: str
    tmin_c: Monthly = Field(description="mean daily minimum by month")
    tmax_c: Monthly = Field(description="mean daily maximum by month")


class LegRow(ReferenceRow):
    """A leg of a service."""

    leg: str
    share: float = Field(ge=0, le=1, description="of the time in transit after pick-up")
    place: str = Field(description="whose outside air")
    hold_c: float | None = Field(description="temperature of the shed, °C")
    shelter: float = Field(ge=0, le=1, description="0 street, 1 heated shed")


class TransitQuantiles(AnswerModel):
    """Quantiles of the time in transit, days."""

    p10: float
    p50: float
    p90: float


class ServiceRow(ReferenceRow):
    """A service with its legs."""

    service: str
    name: str
    transit_days: TransitQuantiles
    min_days: float
    delay_kind: str = Field(description="hold: one long wait; flights: whole flights missed")
    delay_share: float = Field(ge=0, le=1, description="share of shipments with such a delay")
    delay_leg: str
    delivers_weekend: bool
    papers_delay_days: float = Field(description="median delay where a paper is missing")
    freight_low: float = Field(description="of one box, from")
    freight_high: float = Field(description="of one box, to")
    freight_currency: str = Field(description="of both, ISO 4217")
    legs: list[LegRow]


class GeneraAnswer(AnswerModel):
    """``GET /v1/genera``."""

    items: list[GenusRow]


class PackingsAnswer(AnswerModel):
    """``GET /v1/packings``."""

    items: list[Annotated[ContainerRow | RootsRow, Field(discriminator="kind")]]


class PlacesAnswer(AnswerModel):
    """``GET /v1/places``."""

    items: list[PlaceRow]


class ServicesAnswer(AnswerModel):
    """``GET /v1/services``."""

    items: list[ServiceRow]
