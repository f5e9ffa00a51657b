"""The forecast stored with a plan: the route's answer, and what it takes to score it once the box is open."""

from pydantic import Field

from app.schemas.answers import AnswerModel
from app.schemas.compare import RouteOutcome


class CountDraws(AnswerModel):
    """How many plants, over the draws."""

    counts: list[int] = Field(description="the numbers of plants that were drawn, ascending")
    draws: list[int] = Field(
        description="how often each was drawn; where they add up to fewer than `draws` of the forecast, the counts are "
        "evenly spaced quantiles of them"
    )


class ConditionDraws(AnswerModel):
    """How many plants arrive in which condition, at unboxing."""

    healthy: CountDraws
    damaged: CountDraws
    dead: CountDraws


class MeanChances(AnswerModel):
    """Chances of one plant at unboxing, over everything that is not known; they add to 1."""

    healthy: float = Field(ge=0, le=1)
    damaged: float = Field(ge=0, le=1)
    dead: float = Field(ge=0, le=1)


class ForecastLine(AnswerModel):
    """What was forecast of one line, in the order of the plan."""

    genus: str
    cultivar: str | None
    quantity: int
    mean_chances: MeanChances
    plants: ConditionDraws


class LineHazard(AnswerModel):
    """How a line's log hazard follows from what the lines have in common."""

    intercept: float
    slope: float
    genus_sd: float = Field(ge=0, description="shared by lines of the genus; 0 where there is one")
    own_sd: float = Field(ge=0, description="of the line's kind of plant, beside the line effect")


class HazardDraws(AnswerModel):
    """From this the chance of any joint count can be had again without a model.

    In a draw, with u of each genus, v and w of each line all standard normal,

        eta = intercept + slope * common + genus_sd u + own_sd v + line_sd w
        H_loss = h0 + exp(eta)          H_death = h0 exp(-death_offset) + exp(eta - delta)
        P(healthy) = exp(-H_loss)       P(dead) = 1 - exp(-H_death)

    Lines are independent given the draw and the u. Each list of draws has one number a draw. With chance `lost` the box
    is lost whole instead, whatever the draw, and each plant of every line is healthy with chance `lost_healthy`, dead
    with `lost_dead`; forecasts stored before boxes could be lost whole say 0.
    """

    death_offset: float
    common: list[float] = Field(description="ascending: taken evenly from all draws, in this order")
    log_h0: list[float]
    log_delta: list[float]
    line_sd: list[float]
    lost: float = Field(default=0.0, ge=0, le=1, description="chance that the box is lost whole")
    lost_healthy: float = Field(default=0.0, ge=0, le=1, description="of a plant in a box lost whole")
    lost_dead: float = Field(default=0.0, ge=0, le=1, description="of a plant in a box lost whole")
    lines: list[LineHazard]


class ScoredForecast(AnswerModel):
    """What one model said, in full."""

    model_version: str
    transit_days: list[float] = Field(description="quantiles of the time in transit at 0.005, 0.010, ... 0.995")
    batch: ConditionDraws
    lines: list[ForecastLine]
    hazards: HazardDraws


class ForecastScoring(AnswerModel):
    """What the track record needs of the forecast, and of the rules of thumb alone."""

    draws: int
    forecast: ScoredForecast
    rules: ScoredForecast | None = Field(description="from the rules of thumb alone; null where the forecast is that")
    thinned: str | None = Field(description="what was stored less finely because there are many lines; null: nothing")


class PlanForecastAnswer(RouteOutcome):
    """The route's answer at planning, never changed."""

    model_version: str
    seed: int
    scoring: ForecastScoring = Field(description="lists of hundreds; examples show the first two of each")
