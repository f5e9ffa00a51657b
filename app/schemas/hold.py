"""``POST /v1/hold``: every allowed ship date for every route."""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from app.schemas.answers import AnswerModel, Assumed, Caution, Distribution, NotCounted
from app.schemas.batch import Batch
from app.schemas.fields import Amount, Fault, LocalDate, RequestModel, ValidDays, Weekday

MAX_SPAN_DAYS = 92


class Certificate(RequestModel):
    """The phytosanitary certificate; n valid days from day d cover departures d to d+n inclusive."""

    issued: LocalDate
    valid_days: ValidDays = Field(description="0 to 3,650")


class Treatment(RequestModel):
    """A treatment against pests that a destination asks for; valid as a certificate is."""

    done: LocalDate
    valid_days: ValidDays = Field(description="0 to 3,650")


class HoldRequest(Batch):
    """A batch that may leave on any day of a span."""

    earliest: LocalDate = Field(description="first ship date, local at origin")
    latest: LocalDate = Field(description="last ship date, at most 92 days after earliest")
    today: LocalDate | None = Field(
        default=None,
        description="the day it is asked on, local at origin: earlier dates are blocked; unless given, none",
    )
    cost_per_day: Amount | None = Field(
        default=None, description="of waiting from earliest, or from today where that is later, 0 to 1e9"
    )
    needed_by: LocalDate | None = Field(default=None, description="last day to open the box, local at destination")
    certificate: Certificate | None = None
    treatment: Treatment | None = None
    skip_weekdays: Annotated[list[Weekday], Field(max_length=7)] = Field(
        default=[], description="days without departure, at origin"
    )

    def disagreements(self) -> list[Fault]:
        """Return the faults between fields that are each in range."""
        faults = super().disagreements()
        if self.latest < self.earliest:
            faults.append((("latest",), "must be on or after earliest"))
        elif (self.latest - self.earliest).days > MAX_SPAN_DAYS:
            faults.append((("latest",), f"must be at most {MAX_SPAN_DAYS} days after earliest"))
        if self.needed_by is not None and self.needed_by < self.earliest:
            faults.append((("needed_by",), "must be on or after earliest"))
        return faults


class HoldChoice(AnswerModel):
    """When and how to send."""

    ship_date: date
    route: str


BlockedBy = Literal["past", "certificate_lapsed", "treatment_lapsed", "skipped_weekday", "too_late"]


class DayWeather(AnswerModel):
    """Outside air at one end or the hub on the day the box is expected there."""

    role: Literal["origin", "hub", "destination"]
    place: str
    date: date
    min_c: float
    max_c: float
    source: Literal["forecast", "normals"] = Field(description="the forecast given, or the monthly normals")


class AgainstFirst(AnswerModel):
    """A date less the first unblocked one of its route, draw by draw."""

    margin: Distribution
    healthy_two_weeks: Distribution = Field(description="plants")
    noise: float = Field(ge=0, description="a mean difference in margin up to this is about nothing")


class HoldDate(AnswerModel):
    """One ship date on one route."""

    ship_date: date
    route: str
    healthy: Distribution = Field(description="plants healthy at unboxing")
    healthy_two_weeks: Distribution = Field(description="also counts injury that shows late")
    margin: Distribution
    healthy_mean: float
    margin_mean: float
    chance_loss_within_limit: float = Field(ge=0, le=1)
    chance_better_than_first: float | None = Field(
        ge=0, le=1, description="of a better margin than the first unblocked date of this route; null for that date"
    )
    against_first: AgainstFirst | None = Field(description="null for that date and those before it")
    group: int | None = Field(
        description="dates of a route whose mean margins are about equal, and the cost of waiting to them too, share a "
        "number, 1 the best; null if blocked"
    )
    blocked_by: list[BlockedBy]
    weather: list[DayWeather] = Field(
        description="origin on the ship date, hub half-way, destination on the day of the median opening"
    )


class HoldAnswer(AnswerModel):
    """One entry a day and route, by day, then in the order of the routes asked."""

    model_version: str
    seed: int
    draws: int
    recommended: HoldChoice | None
    lead: str = Field(description="the answer in one sentence")
    reason: str = Field(description="the whole of it; begins with lead")
    dates: list[HoldDate]
    assumed: list[Assumed]
    not_counted: list[NotCounted] = Field(description="costs left out of the request: in no sum")
    cautions: list[Caution]
