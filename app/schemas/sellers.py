"""Sellers: what is known of each before an order, and what its boxes showed."""

from datetime import date
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from app.schemas.answers import AnswerModel
from app.schemas.claim import RecourseKind
from app.schemas.countries import CountryCode, country_codes
from app.schemas.fields import (
    ColdPacks,
    ContainerCode,
    Fault,
    HeatPackHours,
    HeatPacks,
    Hours,
    LongNote,
    Quantity,
    RequestModel,
    RootsCode,
    SellerKind,
    Text,
    refuse,
)
from app.schemas.model_page import Quantiles

Verdict = Literal["worse", "maybe_worse", "no_change_seen", "better", "too_few_boxes"]


class UsualPacking(RequestModel):
    """How a seller packs unless asked otherwise; null: not known."""

    container: ContainerCode | None = None
    roots: RootsCode | None = None
    heat_pack_hours: HeatPackHours | None = Field(default=None, description="rating of one heat pack, hours, 0 to 240")
    heat_packs: HeatPacks | None = Field(default=None, description="a box, 0 to 20")
    cold_packs: ColdPacks | None = Field(default=None, description="ice packs of 0.35 kg each a box, 0 to 50")
    capacity: Quantity | None = Field(default=None, description="plants a box, 1 to 100,000")


class BuyersAnswers(RequestModel):
    """What the seller answered to a careful buyer; null: not known."""

    grows_plants: bool | None = Field(default=None, description="whether it grows the plants itself")
    exported_here: bool | None = Field(
        default=None, description="whether it has exported to the buyer's country before"
    )
    certificate_days: Annotated[float, Field(ge=0, le=365)] | None = Field(
        default=None, description="days until it has a phytosanitary certificate, 0 to 365"
    )
    wrapping: Text | None = Field(default=None, description="how roots and leaves are wrapped, up to 120 characters")
    packed_before_pickup_hours: Hours | None = Field(
        default=None, description="how long before pick-up the box is packed, hours, 0 to 2,160"
    )
    live_video: bool | None = Field(default=None, description="whether it shows the plants in a live video")


class SellerRequest(RequestModel):
    """All that is recorded of a seller: what is left out is not known."""

    name: Text | None = Field(
        default=None, description="how the name is written, up to 120 characters; null: as in the address"
    )
    kind: SellerKind | None = None
    country: CountryCode | None = Field(default=None, description="ISO 3166-1 alpha-2")
    notes: LongNote = Field(default="", description="up to 4,000 characters")
    recourse: RecourseKind | None = Field(default=None, description="what it gives for plants dead on arrival")
    packing: UsualPacking = UsualPacking()
    answers: BuyersAnswers = BuyersAnswers()

    @model_validator(mode="after")
    def _fields_agree(self) -> Self:
        faults: list[Fault] = []
        if self.country is not None and self.country not in country_codes():
            faults.append((("country",), "must be the code of a country (ISO 3166-1 alpha-2) such as TH"))
        if self.kind == "grower" and self.answers.grows_plants is False:
            faults.append((("answers", "grows_plants"), "must not be false for a grower: change one of the two"))
        refuse(faults)
        return self


class ShrunkShare(AnswerModel):
    """A share counted, and what it is once shrunk to the average of all sellers."""

    counted: int = Field(ge=0, description="how many of `of`")
    of: int = Field(ge=0)
    mean: float = Field(description="shrunk share, 0 to 1")
    low: float = Field(description="of its 80 % interval")
    high: float = Field(description="of its 80 % interval")
    average: float = Field(description="of all sellers, towards which it is shrunk")
    text: str


class Claims(AnswerModel):
    """How claims against a seller ended, in boxes."""

    refunded: int = Field(ge=0)
    replaced: int = Field(ge=0)
    refused: int = Field(ge=0)
    amounts: dict[str, float] = Field(description="money got back, by currency; an empty code where none is recorded")
    honoured: ShrunkShare = Field(description="refunded or replaced, of the claims settled")


class Quarter(AnswerModel):
    """A quarter with boxes."""

    quarter: str = Field(description="such as 2027 Q1")
    boxes: int = Field(ge=0)
    time_ratio: Quantiles = Field(description="against an average seller of its kind, in this quarter")


class Fall(AnswerModel):
    """How the newest boxes that the active model was fitted to speak for plants that now last half as long.

    Of the last box, or of the last two together: what says more.
    """

    boxes: int = Field(ge=1, description="of the newest boxes, taken together")
    times_likelier: float = Field(gt=0, description="their counts than if nothing had changed, given all other boxes")
    named: bool = Field(description="whether it is beyond what one seller in twenty reaches who has not changed")


class Trend(AnswerModel):
    """Whether a seller gets better or worse; numbers only where it has boxes in two quarters."""

    quarters: list[Quarter]
    change: Quantiles | None = Field(
        description="how long plants of the latest quarter keep against those of the earliest; below 1 is worse"
    )
    chance_worse: float | None = Field(description="that they keep less long, 0 to 1")
    drift_odds: float | None = Field(
        description="how many times likelier its boxes are with a change between the two quarters than without one"
    )
    fall: Fall | None = Field(
        default=None, description="null with fewer than 3 boxes, or where the fit has too few draws to tell"
    )
    verdict: Verdict
    text: str


class SellerAnswer(AnswerModel):
    """A seller of the ledger."""

    name: str
    kind: str | None
    country: str | None
    notes: str
    recourse: str | None = Field(description="what it gives for plants dead on arrival")
    packing: UsualPacking
    answers: BuyersAnswers
    unknown: list[str] = Field(description="questions to ask that are still open")
    etag: str = Field(description="for If-Match, quotation marks included")
    time_ratio: Quantiles = Field(
        description="how long its plants keep against those of an average seller of its kind, in its latest quarter"
        " with boxes; shrunk to the average"
    )
    boxes: int = Field(ge=0, description="boxes that the active model has seen")
    plants: int = Field(ge=0, description="plants in them")
    text: str
    recorded_boxes: int = Field(ge=0, description="arrived boxes in the ledger")
    first_ship_date: date | None = Field(description="of its arrived boxes")
    last_ship_date: date | None = Field(description="of its arrived boxes")
    late: ShrunkShare = Field(description="boxes on the way for longer than 9 in 10 of its service and lane")
    damaged: ShrunkShare = Field(description="plants damaged at unboxing, of those counted")
    dead: ShrunkShare = Field(description="plants dead at unboxing, of those counted")
    claims: Claims
    trend: Trend


class SellersAnswer(AnswerModel):
    """All sellers of the ledger, by name."""

    model_version: str
    items: list[SellerAnswer]
