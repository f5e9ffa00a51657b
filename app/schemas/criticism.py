"""What a fit was asked about itself: part of ``GET /v1/model``."""

from typing import Literal

from pydantic import Field

from app.schemas.answers import AnswerModel


class PredictiveCheckAnswer(AnswerModel):
    """A number of the boxes beside the same of boxes as the fit has them come again."""

    about: Literal["no_survivor", "season", "seller"] = Field(
        description="boxes with no survivor, or the share of plants healthy of a season or a seller"
    )
    label: str = Field(description="of which boxes, as people say it")
    boxes: int = Field(ge=1)
    found: float = Field(ge=0, description="number of boxes with no survivor, or share healthy")
    low: float = Field(ge=0, description="the middle 95 % of what the fit has come again")
    high: float = Field(ge=0)
    below: float = Field(ge=0, le=1, description="share of it below what was found, with half of what is equal")
    extreme: bool = Field(description="found outside the middle 95 %; of twenty checks about one is by chance alone")


class LeftOutBoxAnswer(AnswerModel):
    """A box as it was foreseen."""

    shipment: str
    score: float = Field(description="log chance of its counts by the fit without it; higher is better")
    rules: float = Field(description="the same by the rules of thumb alone")


class LeftOutAnswer(AnswerModel):
    """How boxes are foreseen by the fit without each of them, beside the rules of thumb."""

    boxes: int = Field(ge=1)
    better: int = Field(ge=0, description="boxes foreseen better than by the rules of thumb")
    score: float = Field(description="sum of log chances of the boxes' counts")
    rules: float = Field(description="the same by the rules of thumb alone")
    difference: float = Field(description="of one box, on average; above 0: better than the rules of thumb")
    standard_error: float | None = Field(description="of the difference; null with one box")
    by_box: list[LeftOutBoxAnswer] = Field(description="the boxes on which the two are furthest apart")


class RestsOnAnswer(AnswerModel):
    """What an answer rests on: how far it moves with the rules of thumb or tables, and with the boxes.

    Power scaling: Kallioinen, Paananen, Buerkner & Vehtari 2024, Statistics and Computing 34:57.
    """

    kind: Literal["healthy", "kappa", "lost_whole", "genus", "seller"]
    label: str = Field(description="what is told, as people say it")
    boxes: int | None = Field(description="boxes of the genus or seller; null for what all boxes speak of")
    prior: float = Field(ge=0, description="how far it moves for twice the weight of the prior; 0.05 is felt")
    likelihood: float = Field(ge=0, description="the same for the boxes")
    prior_shift: float = Field(description="where its mean goes with the prior, in sds")
    likelihood_shift: float = Field(description="where its mean goes with the boxes, in sds")
    on: Literal["boxes", "rules", "both", "conflict", "neither"] = Field(
        description="conflict: both move it, to different sides"
    )


class CriticismAnswer(AnswerModel):
    """What the fit was asked about itself at the refit; boxes that came later are not in it."""

    text: list[str] = Field(description="what follows, in words")
    checks: list[PredictiveCheckAnswer]
    left_out: LeftOutAnswer | None = Field(description="null: not looked at")
    rests: list[RestsOnAnswer] = Field(description="without what the draws could not tell")
