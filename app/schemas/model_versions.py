"""Refits and versions of the model."""

from datetime import datetime
from typing import Literal

from pydantic import Field

from app.schemas.answers import AnswerModel
from app.schemas.doubtful import Doubtful


class RefitAnswer(AnswerModel):
    """A refit and what came of it."""

    id: str
    state: Literal["queued", "running", "activated", "kept", "failed"] = Field(
        description="kept: stored, but not activated"
    )
    version: str | None = Field(description="the version that it stored")
    reason: str | None = Field(description="what came of it, in plain words")
    created_at: datetime
    started_at: datetime | None
    finished_at: datetime | None
    doubtful: list[Doubtful] = Field(
        description="records that look wrong beside the others: confirm or correct them. They are used, but times that"
        " look wrong teach no times in transit"
    )


class ModelVersion(AnswerModel):
    """A version of the model that can be activated."""

    version: str
    active: bool
    fitted: datetime | None = Field(description="null: rules of thumb only")
    boxes: int = Field(ge=0, description="boxes behind the fit")
    plants: int = Field(ge=0, description="plants in them")
    usable: bool = Field(description="false: fitted with other tables, constants, code or format, so refit")
    diagnostics: dict[str, float | int | str | bool]


class ModelHold(AnswerModel):
    """That a version was gone back to by hand: refits by themselves are kept and activate nothing meanwhile."""

    version: str = Field(description="gone back to; it answers until a newer one is taken, or a refit asked for passes")
    since: datetime
    waiting: int = Field(ge=0, description="newer versions that were good enough to be activated")
    newest: str | None = Field(description="of those; POST /v1/model/versions/{version}/activate takes it")
    text: str


class ModelVersionsAnswer(AnswerModel):
    """All versions, the newest first; the last is the rules of thumb alone."""

    model_version: str = Field(description="the one that answers")
    held: ModelHold | None = Field(description="null unless an earlier version was gone back to")
    items: list[ModelVersion]
