"""What answers are made of: distributions, cautions, assumed values."""

from datetime import date

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


class Caution(AnswerModel):
    """What to keep in mind, and who decides."""

    code: str
    text: str
    checked: date | None = Field(default=None, description="when a rule behind the text was last checked")
    decided_by: str | None = Field(default=None, description="whose decision it is")


class Assumed(AnswerModel):
    """A value that the request left out."""

    pointer: str = Field(description="JSON pointer into the request")
    value: float | str | bool | None
    why: str


class Together(AnswerModel):
    """One number for boxes that travel together and one for boxes that travel apart."""

    together: float
    apart: float
