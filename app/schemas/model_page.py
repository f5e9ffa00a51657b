"""``GET /v1/model``: the active model, its rules of thumb and how each is met."""

from datetime import datetime
from typing import Literal

from pydantic import Field

from app.schemas.answers import AnswerModel
from app.schemas.criticism import CriticismAnswer
from app.schemas.doubtful import Doubtful
from app.schemas.model_versions import ModelHold


class ModelChance(AnswerModel):
    """The model's own answer to a rule, with its 80 % interval."""

    mean: float = Field(ge=0, le=1)
    low: float = Field(ge=0, le=1)
    high: float = Field(ge=0, le=1)


class RuleOfThumb(AnswerModel):
    """A rule of thumb with its 80 % range and what the model says to it."""

    code: str
    text: str
    days: float
    inside_c: float
    outcome: Literal["healthy", "dead"]
    low: float = Field(ge=0, le=1)
    best: float = Field(ge=0, le=1)
    high: float = Field(ge=0, le=1)
    model: ModelChance
    inside_range: bool = Field(description="whether the model's mean lies in the rule's range")
    source: str
    status: str


class Quantiles(AnswerModel):
    """Median and 80 % interval."""

    p10: float
    p50: float
    p90: float


class Scale(AnswerModel):
    """A scale or thermal parameter before and after the boxes."""

    name: str
    prior: Quantiles
    posterior: Quantiles | None = Field(description="null: rules of thumb only")


class EffectEvidence(AnswerModel):
    """What an effect rests on."""

    boxes: int = Field(ge=0)
    plants: int = Field(ge=0)


class Effect(AnswerModel):
    """An effect as a time ratio at 20 °C, above chilling: 1.2 keeps a fifth longer."""

    kind: str
    name: str = Field(description="of the level: that of a table, or a key")
    label: str = Field(description="as people write it; a genus as typed beside its accepted name: Pothos (Epipremnum)")
    time_ratio: Quantiles
    evidence: EffectEvidence
    beyond_table: Quantiles | None = Field(
        description="the time ratio over that of the tables, where own boxes overrule their row; else null"
    )
    text: str


class TransitDays(Quantiles):
    """Median and 80 % range of the total days from closing the box to opening it, with the chance of a delay."""

    delay_share: float = Field(ge=0, le=1)
    delay_days: float = Field(
        gt=0, description="of a delay: its median, or the time between flights where whole flights are missed"
    )


class LearnedTransit(AnswerModel):
    """Time in transit of a service on a lane: the table's, and what own boxes made of it."""

    service: str
    origin: str | None = Field(description="null: a long lane without own boxes, learned from the service's others")
    destination: str | None
    table: TransitDays
    learned: TransitDays
    boxes: int = Field(ge=0, description="own boxes that arrived")
    boxes_on_the_way: int = Field(ge=0, description="own boxes not here yet; they count with the days gone by")
    boxes_left_out: int = Field(
        ge=0, description="own boxes that arrived and teach nothing: their times look wrong, and nobody confirmed them"
    )
    text: str


class LateLoss(AnswerModel):
    """Share of healthy plants lost or spoilt within two weeks after unboxing, by chill dose in equivalent days."""

    chill_dose_days: float
    rules: ModelChance
    learned: ModelChance | None = Field(description="null: no box was looked at again")


class LateLosses(AnswerModel):
    """Late loss, and the boxes looked at again that it was learned from; arrivals say nothing of it."""

    boxes: int = Field(ge=0)
    plants: int = Field(ge=0)
    shares: list[LateLoss]


class DelayedBoxes(AnswerModel):
    """How much losses depend on time (kappa), with and without boxes later than their service's usual p90.

    Two ranges far apart say that delays come with something else that harms plants. Both are normal approximations,
    with the scales and the clock as all boxes have them.
    """

    left_out: int = Field(ge=1, description="boxes later than that")
    kappa: Quantiles
    kappa_without: Quantiles


class ModelUpdate(AnswerModel):
    """What boxes made of the version's draws that it was not fitted to."""

    boxes: int = Field(ge=1, description="new or corrected since the fit")
    plants: int = Field(ge=0, description="plants in the new ones")
    in_use: bool = Field(description="whether the answers take them into account; if not, a refit is due")
    effective_draws: float | None = Field(description="draws that count once weighed; null where they were not weighed")
    pareto_k: float | None = Field(description="shape of the weights' tail; null where they were not weighed")
    text: str


class ModelAnswer(AnswerModel):
    """The active model."""

    model_version: str
    notice: str | None = Field(description="why the version that is active in the ledger does not answer, if so")
    held: ModelHold | None = Field(description="an earlier version was gone back to by hand, and stays; null if not")
    update: ModelUpdate | None = Field(description="boxes that came after the fit; null without such")
    fitted: datetime | None = Field(description="null: rules of thumb only")
    boxes: int = Field(ge=0, description="boxes behind the fit")
    plants: int = Field(ge=0, description="plants in them")
    assumption: str
    lost_whole: str = Field(description="how often a box is lost whole, whatever its route; every chance counts it in")
    rules: list[RuleOfThumb]
    scales: list[Scale]
    effects: list[Effect]
    transit: list[LearnedTransit] = Field(description="services and lanes with own boxes")
    transit_left_out: str | None = Field(
        description="how many arrived boxes taught no times in transit, since theirs look wrong; null for none"
    )
    late_loss: LateLosses
    delayed_boxes: DelayedBoxes | None = Field(description="null: no or too many delayed boxes, or too many boxes")
    doubtful: list[Doubtful] = Field(
        description="records that look wrong beside the others: confirm or correct them. They are used, but times that"
        " look wrong teach no times in transit"
    )
    criticism: CriticismAnswer | None = Field(
        description="what the fit was asked about itself; null for the rules of thumb and for versions from before"
    )
    diagnostics: dict[str, float | int | str | bool | None]
