"""What answers are made of: distributions, cautions, assumed values."""

from datetime import date
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class AnswerModel(BaseModel):
    """What every object in an answer has in common; a NaN is a fault of ours and never leaves as null."""

    model_config = ConfigDict(
        extra="forbid", allow_inf_nan=False, frozen=True, serialize_by_alias=True, defer_build=True
    )


class Distribution(AnswerModel):
    """Mean and quantiles over the draws."""

    mean: float
    p05: float
    p50: float
    p95: float


CautionMoment = Literal["before_paying", "packing", "on_the_way", "arrival"]


class Caution(AnswerModel):
    """What to keep in mind or to do, and when; who decides where it is not the buyer."""

    code: str
    text: str
    checked: date | None = Field(default=None, description="when a rule behind the text was last checked")
    decided_by: str | None = Field(default=None, description="whose decision it is, where it is not the buyer's")
    moment: CautionMoment = Field(description="when to think of it")
    act: bool = Field(
        default=False, description="to be acted on, by what that would change in the answer; at most three, the first"
    )


class Assumed(AnswerModel):
    """A value that the request left out."""

    pointer: str = Field(description="JSON pointer into the request")
    value: float | str | bool | None
    why: str


class UsualCost(AnswerModel):
    """What a cost usually lies between."""

    low: float
    high: float
    currency: str = Field(description="ISO 4217; often another than that of the request")


class NotCounted(AnswerModel):
    """A cost that the request left out: it is in no sum."""

    pointer: str = Field(description="JSON pointer into the request")
    text: str = Field(description="the cost in a word or two")
    usual: UsualCost | None = Field(description="by the rule of thumb, to be asked for; null: there is none")


class Together(AnswerModel):
    """One number for boxes that travel together and one for boxes that travel apart."""

    together: float
    apart: float
