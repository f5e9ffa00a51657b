"""``GET /v1/shipments/{id}/outlook``: what to expect of a box that is on its way."""

from datetime import date, datetime

from pydantic import Field

from app.schemas.answers import AnswerModel, Caution
from app.schemas.compare import MeanQuantiles
from app.schemas.risk import ChanceInterval

Day = date


class ArrivalChance(AnswerModel):
    """The chance that the box has been opened by the end of a day."""

    date: Day = Field(description="local date at the destination")
    chance: float = Field(ge=0, le=1)


class LineOutlook(AnswerModel):
    """The chances of a plant of one line at unboxing; low and high are the 10 % and 90 % points over the draws."""

    line: int = Field(description="position in the lines of the plan, from 0")
    genus: str
    cultivar: str | None
    quantity: int
    healthy: ChanceInterval
    damaged: ChanceInterval
    dead: ChanceInterval
    healthy_two_weeks: ChanceInterval = Field(description="also counts injury that shows late")


class Help(AnswerModel):
    """Something that would help now."""

    code: str
    text: str
    days_sooner: float | None = Field(description="mean days by which the box is opened sooner; null: not computed")
    healthy_gain: float | None = Field(
        description="what it adds to the chance that a plant is healthy, mean over the plants; null: not computed"
    )


class OutlookAnswer(AnswerModel):
    """What to expect of a box, given that it has not arrived."""

    model_version: str
    seed: int
    at: datetime
    elapsed_days: float = Field(description="since the box was closed")
    leg: str | None = Field(description="the leg that tracking puts it in; null where it does not say")
    held: bool = Field(description="whether it is held up, by the notes")
    late_since: datetime | None = Field(
        description="by when 9 in 10 such boxes are open, by the forecast of the plan, where that is over"
    )
    days_left: MeanQuantiles
    arrival_by: list[ArrivalChance] = Field(description="until the chance passes 0.99, at most 30 days")
    lines: list[LineOutlook]
    heat_pack_ends_at: datetime | None
    helps: list[Help]
    cautions: list[Caution]
