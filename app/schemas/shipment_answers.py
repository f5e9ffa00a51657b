"""What is said of a shipment: its plan and forecast as stored, its journey, its arrival, what to do next."""

from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import Field, WithJsonSchema

from app.schemas.answers import AnswerModel, Caution
from app.schemas.doubtful import Doubtful
from app.schemas.shipments import ClaimOutcome, ShipmentState
from model.reference import CONSTANTS

# As stored: it was valid when it was planned, and is passed on as it stands.
StoredForecast = Annotated[dict[str, Any], WithJsonSchema({"$ref": "#/components/schemas/PlanForecastAnswer"})]


class EventAnswer(AnswerModel):
    """Something that was heard of a box on its way."""

    at: datetime
    kind: str
    note: str


class ReadingAnswer(AnswerModel):
    """One reading of a logger in the box."""

    at: datetime
    inside_c: float


class CountedLine(AnswerModel):
    """What every answer about a line of a shipment says of it, before more."""

    line: int = Field(description="position in the shipment, from 0; the lines of the plan come first")
    genus: str
    cultivar: str | None
    quantity: int | None = Field(description="ordered; null where it was not")
    sent: int | None
    healthy: int | None
    damaged: int | None
    dead: int | None


class PlantLine(CountedLine):
    """One line of a shipment; counts are null before arrival, and where a file left them unknown."""

    missing: int | None = Field(description="ordered and not sent")
    note: str


class LoggerSummary(AnswerModel):
    """What a logger showed."""

    readings: int
    first: datetime
    last: datetime
    mean_c: float = Field(description="time-weighted")
    min_c: float
    max_c: float


class ArrivalAnswer(AnswerModel):
    """What was found in the box; times are null where only dates are known."""

    arrival_date: date = Field(description="local date at the destination")
    arrived_at: datetime | None
    opened_at: datetime | None
    transit_days: float = Field(description="from departure to opening; from dates where times are not known")
    lines: list[PlantLine]
    missing: int = Field(description="plants ordered and not sent")
    notes: str
    photos: list[str] = Field(description="names of files, which are not stored here")
    inside_temp_c: float | None = Field(description="mean of a logger")
    inside_min_c: float | None = Field(description="lowest of a logger")
    inside_max_c: float | None = Field(description="highest of a logger")
    logger: list[ReadingAnswer]
    logger_summary: LoggerSummary | None
    lost_whole_chance: float | None = Field(
        description="that the box was lost for reasons that neither days nor temperature show, by the model that last"
        " looked at its record; null before that"
    )
    lost_whole_text: str | None = Field(description="what to say of that; null where it is not worth a word")


class RecheckedLineAnswer(AnswerModel):
    """Counts of one line about two weeks on."""

    line: int
    healthy: int
    damaged: int
    dead: int
    gone: int


class RecheckAnswer(AnswerModel):
    """How the plants did after arrival."""

    recheck_date: date
    checked_at: datetime | None
    lines: list[RecheckedLineAnswer]
    notes: str
    late_loss_share: float | None = Field(
        description="of the plants healthy at unboxing and not gone since, those that are healthy no longer; null for"
        " none. The forecast's is 1 - healthy_two_weeks / healthy"
    )


class ClaimState(AnswerModel):
    """What became of the claim."""

    outcome: ClaimOutcome
    amount: float | None
    settled_on: date | None


class NextStep(AnswerModel):
    """Something to do after the box was opened."""

    code: str
    text: str
    from_: datetime = Field(alias="from")
    until: datetime
    status: str = Field(description="what the step rests on")
    state: Literal["ahead", "now", "past", "done"] = Field(description="at the moment of the answer")


class ShipmentAnswer(AnswerModel):
    """A shipment as a whole."""

    id: str
    reference: str | None
    state: ShipmentState
    plan: dict[str, Any] | None = Field(description="as given; null for a shipment taken from a file")
    forecast: StoredForecast | None = Field(
        description="the route's answer at planning, with model_version and seed; never changed"
    )
    departed_at: datetime | None
    events: list[EventAnswer] = Field(description="in order of time")
    arrival: ArrivalAnswer | None
    recheck: RecheckAnswer | None
    claim: ClaimState | None
    next_steps: list[NextStep]
    doubtful: list[Doubtful] = Field(
        description="what of its record looks wrong; confirm it (PUT confirm) or correct the arrival"
    )
    confirmed: bool = Field(description="its owner said that the record, as it is, is right")
    cautions: list[Caution]
    created_at: datetime
    updated_at: datetime


class ShipmentItem(AnswerModel):
    """A shipment in a list."""

    id: str
    reference: str | None
    state: ShipmentState
    etag: str = Field(description="for If-Match")
    seller: str | None
    service: str
    origin: str
    destination: str
    ship_date: date
    departed_at: datetime | None
    arrival_date: date | None
    opened_at: datetime | None
    lines: list[PlantLine]
    recheck_on: date | None = Field(
        description=f"when to look again, {CONSTANTS.recheck_days} days after opening; null before arrival, and "
        f"once they were counted again at least {CONSTANTS.recheck_earliest_days} days after it"
    )
    recheck_due: bool = Field(description="that day has come, and none that late is recorded")
    claim_until: datetime | None = Field(
        description="end of the seller's window, in the time of the destination, where plants are dead or missing and"
        " no outcome of a claim is recorded; null where the seller gives nothing"
    )
    late_since: datetime | None = Field(
        description="on its way for longer than 9 in 10 such boxes by the forecast of its plan, and since when"
    )
    outcome_missing: bool = Field(description="should have left more than 30 days ago, and neither arrived nor lost")
    claim: ClaimState | None
    created_at: datetime


class ShipmentsAnswer(AnswerModel):
    """Shipments, the newest first; where only those that have arrived are asked for, the newest arrival."""

    items: list[ShipmentItem]
    next_cursor: str | None = Field(description="for the next page; null at the end")
    cautions: list[Caution] = Field(description="about the whole ledger, not only this page")
