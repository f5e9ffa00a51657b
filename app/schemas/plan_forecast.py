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


class HazardDraws(AnswerModel):
    """Some of the draws, from which the chance of any joint count can be had again without a model.

    Each text is base64 of little-endian half-precision numbers. In a draw the plants of a line share

        H_loss = h0 + exp(eta + line_sd z)    H_death = h0 exp(-death_offset) + exp(eta - delta + line_sd z)
        P(healthy) = exp(-H_loss)             P(dead) = 1 - exp(-H_death)

    with z standard normal and each line's own. Lines of a box are independent given the draw.
    """

    n_draws: int = Field(description="taken evenly from all draws, in order of the share of the batch that is healthy")
    death_offset: float
    log_h0: str = Field(description="(n_draws)")
    log_delta: str = Field(description="(n_draws)")
    line_sd: str = Field(description="(n_draws)")
    eta: str = Field(description="(lines, n_draws), line by line, without the line effect")


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
    scoring: ForecastScoring
