"""``GET /v1/track-record``: what was forecast against what was found."""

from typing import Literal

from pydantic import Field

from app.schemas.answers import AnswerModel


class ScoreDifference(AnswerModel):
    """Forecast less rules over the boxes in which the two differ: below 0 the forecast is better."""

    boxes: int = Field(description="forecast by a fitted model")
    mean: float
    low: float | None = Field(description="its 80 % interval, boxes taken as independent; null for a single box")
    high: float | None


class Score(AnswerModel):
    """Mean over boxes, lower is better; null before the first box."""

    forecast: float | None
    rules: float | None = Field(description="from the rules of thumb alone")
    difference: ScoreDifference | None = Field(description="null where every forecast was from the rules of thumb")


class ReliabilityRow(AnswerModel):
    """Plants to which about the same chance was given, and what became of them."""

    outcome: Literal["healthy", "dead"]
    chance_from: float
    chance_to: float
    boxes: int
    plants: int
    forecast: float = Field(description="mean chance given to these plants")
    observed: float = Field(description="share of them for which it came true")
    observed_low: float = Field(description="80 % interval of that share; it counts boxes, since plants share a fate")
    observed_high: float


class RangesHeld(AnswerModel):
    """How often ranges held what was found."""

    n: int
    held: int
    expected: float = Field(description="sum of each range's own chance: a range of whole numbers has more than asked")
    below: int = Field(description="found below the range")
    above: int = Field(description="found above the range")
    chance_fewer: float = Field(description="of holding so few or fewer, were every range's chance right")
    chance_more: float = Field(description="of holding so many or more, were every range's chance right")


class CoverageRow(AnswerModel):
    """Ranges of one level."""

    level: float
    counts: float | None = Field(description="share of boxes whose range held the count; null where there is none")
    transit_days: float | None = Field(description="share of boxes whose range held the days in transit")
    n: int = Field(description="boxes with a range of the count")
    counts_held: RangesHeld
    transit_held: RangesHeld = Field(
        description="only boxes with times of departure and opening, and a forecast time in transit that is not fixed"
    )


class TrackPart(AnswerModel):
    """The boxes of one service, genus group (that of most of a box's plants) or season of departure."""

    by: Literal["service", "group", "season"]
    level: str
    boxes: int
    log_score: Score
    brier: Score
    counts_held: RangesHeld = Field(description="80 % ranges")


class ForecastsBy(AnswerModel):
    """How many of the boxes a model version forecast."""

    model_version: str
    boxes: int


class NotScored(AnswerModel):
    """Boxes and lines with a forecast that are in no score, by reason."""

    lost: int = Field(description="boxes that never came: a forecast is about plants that are unpacked")
    forecast_after_arrival: int = Field(description="boxes planned when they had arrived")
    nothing_counted: int = Field(description="boxes in which no plant that was forecast was sent and counted")
    lines_not_forecast: int = Field(description="lines of scored boxes that were not in the plan")


FindingState = Literal["wrong", "right", "unclear"]


class Finding(AnswerModel):
    """Something that the forecasts got right or wrong, or of which that cannot be told yet."""

    state: FindingState
    code: str = Field(description="plants_expected, plants_range, days_range, against_rules, part_range")
    text: str


class TrackRecordAnswer(AnswerModel):
    """Every arrived box with a forecast from before its arrival, scored on the counts as they stand now."""

    model_version: str = Field(description="active now; each box is scored on the model that forecast it")
    boxes: int
    plants: int
    forecasts_by: list[ForecastsBy]
    log_score: Score = Field(description="minus log chance of a box's counts, all lines jointly, given what was sent")
    brier: Score = Field(
        description="of a plant: squared error of the chances of healthy and of dead, averaged; 0 best, 1 worst"
    )
    reliability: list[ReliabilityRow]
    coverage: list[CoverageRow] = Field(
        description="of the number of healthy plants in a box, or of dead ones where only those were counted"
    )
    pit: list[float] = Field(
        description="ten equal parts of the forecast distribution and the share of counts found in each: about 0.1 "
        "each where forecasts are calibrated; high ends: too narrow; high middle: too wide; empty before the first box"
    )
    parts: list[TrackPart]
    parts_minimum: int = Field(description="boxes that a service, group or season needs to be listed")
    not_scored: NotScored
    verdict: str
    findings: list[Finding] = Field(description="in words, the wrong first; empty before the first box")
