"""``POST /v1/compare``: the routes for a batch, side by side."""

from pydantic import Field

from app.schemas.answers import AnswerModel, Assumed, Caution, Distribution, NotCounted, Together
from app.schemas.batch import Batch
from app.schemas.fields import LocalDate


class CompareRequest(Batch):
    """A batch that leaves on a given day."""

    ship_date: LocalDate = Field(description="local date at origin")
    rules_beside: bool = Field(default=False, description="answer also what the rules of thumb alone would say")


class MeanQuantiles(AnswerModel):
    """Mean and quantiles of the time in transit, days."""

    mean: float
    p10: float
    p50: float
    p90: float


class InsideQuantiles(AnswerModel):
    """Quantiles of the air in the box over hours and draws, °C."""

    p05: float
    p50: float
    p95: float


class InsideDay(InsideQuantiles):
    """The same over the hours of one day of the journey."""

    day: int = Field(ge=1, description="since the box was closed; 1 is the first 24 h")
    under_way: float = Field(ge=0, le=1, description="share of the journeys that last into this day")


class EquivalentDays(AnswerModel):
    """Quantiles of days at 20 °C with the same damage."""

    p10: float
    p50: float
    p90: float


class PlantCounts(AnswerModel):
    """How many plants of the batch arrive in which condition."""

    sent: int
    healthy: Distribution = Field(description="at unboxing")
    damaged: Distribution = Field(description="at unboxing")
    dead: Distribution = Field(description="at unboxing")
    healthy_two_weeks: Distribution = Field(description="also counts injury that shows late")
    chance_none_healthy: float = Field(ge=0, le=1)
    healthy_strip: list[int] = Field(
        description="healthy at unboxing in 20 equally likely shipments, the fewest first: quantiles 0.025 to 0.975"
    )
    two_weeks_strip: list[int] = Field(default=[], description="the same two weeks on; empty in older forecasts")


class MoneyItem(AnswerModel):
    """One line of the landed cost."""

    code: str
    text: str
    amount: float = Field(description="rounded to the minor unit of the currency")


class Money(AnswerModel):
    """What the route costs and leaves."""

    items: list[MoneyItem] = Field(description="add up exactly to landed_cost")
    landed_cost: float
    without: str | None = Field(
        default=None, description="which costs are not in it, since they were not given, in words; null: none"
    )
    recovered_mean: float = Field(description="mean of claims on dead plants")
    margin: Distribution
    worst_5pct_margin: float = Field(description="mean margin of the worst 1 in 20 draws")
    cost_per_healthy_plant: float | None = Field(description="landed cost / mean healthy at two weeks; null if none")


class Splitting(AnswerModel):
    """What it costs to let the boxes of a route travel apart, and what that buys."""

    boxes: int
    extra_cost: float
    chance_none_healthy: Together
    chance_loss_within_limit: Together
    worst_5pct_margin: Together
    pays: bool
    text: str


class LineOutcome(AnswerModel):
    """What becomes of one line."""

    genus: str
    cultivar: str | None
    quantity: int
    healthy: Distribution
    damaged: Distribution
    dead: Distribution
    margin_mean: float


class RulesOnly(AnswerModel):
    """The same route by the rules of thumb alone, without the own record."""

    healthy: Distribution = Field(description="plants healthy at unboxing")
    healthy_strip: list[int] = Field(description="as under plants")
    healthy_two_weeks: Distribution | None = Field(default=None, description="null in older forecasts")
    two_weeks_strip: list[int] = Field(default=[], description="as under plants")
    margin: Distribution


class RouteOutcome(AnswerModel):
    """What becomes of the batch on one route."""

    name: str
    boxes: int
    transit_days: MeanQuantiles
    inside_c: InsideQuantiles
    inside_by_day: list[InsideDay] = Field(description="while at least 1 journey in 20 is under way")
    equivalent_days: EquivalentDays
    plants: PlantCounts
    chance_loss_within_limit: float = Field(ge=0, le=1)
    money: Money
    chance_best: float = Field(ge=0, le=1, description="share of draws in which this route has the best margin")
    splitting: Splitting | None = Field(description="null for a single box")
    lines: list[LineOutcome]
    rules_only: RulesOnly | None = Field(
        description="null unless rules_beside is asked for and the model rests on more than the rules of thumb"
    )


class BreakEven(AnswerModel):
    """Where the dearer and faster route overtakes."""

    from_: str = Field(alias="from", description="route that is better below")
    to: str = Field(description="route that is better above")
    batch_sale_value: float
    plants: float


class CompareAnswer(AnswerModel):
    """Routes in the order asked, with a recommendation and its reason."""

    model_version: str
    seed: int
    draws: int
    recommended: str | None
    lead: str = Field(description="the answer in one sentence: what to take, and what the alternative costs and saves")
    reason: str = Field(description="the whole of it; begins with lead")
    assumed: list[Assumed]
    not_counted: list[NotCounted] = Field(description="costs left out of the request: in no sum")
    routes: list[RouteOutcome]
    break_even: BreakEven | None
    cautions: list[Caution]
