"""The body of every refusal (RFC 9457), and the answers of ``GET /health`` and ``GET /ready``."""

from typing import Literal

from pydantic import Field

from app.schemas.answers import AnswerModel


class ProblemError(AnswerModel):
    """One fault."""

    pointer: str = Field(description="JSON pointer (RFC 6901) into the body; empty: the whole body")
    message: str = Field(description="what would be right")
    row: int | None = Field(default=None, description="row of a CSV file, its header being row 1")
    column: str | None = Field(default=None, description="column of a CSV file")
    code: str | None = Field(
        default=None, description="of a fault that a program can do something about: ambiguous_date, import with dates="
    )


class ProblemBody(AnswerModel):
    """Why a call was refused; it never repeats what was sent."""

    type: str
    title: str
    status: int
    detail: str
    code: str
    errors: list[ProblemError]


class HealthAnswer(AnswerModel):
    """The service is up and has a model."""

    status: str
    model_version: str


class ReadyAnswer(AnswerModel):
    """The ledger can be used, and a model answers."""

    status: Literal["ready", "degraded"] = Field(description="degraded: not the active version answers, but another")
    model_version: str = Field(description="the one that answers")
    notice: str | None = Field(description="why the active version does not answer, null where it does")
