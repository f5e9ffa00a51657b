"""Sellers and what their boxes showed."""

from pydantic import Field

from app.schemas.answers import AnswerModel
from app.schemas.model_page import Quantiles


class SellerAnswer(AnswerModel):
    """A seller of the ledger."""

    name: str
    kind: str | None
    country: str | None
    notes: str
    time_ratio: Quantiles = Field(
        description="how long its plants keep against those of an average seller of its kind, in its latest quarter"
        " with boxes; shrunk to the average"
    )
    boxes: int = Field(ge=0, description="boxes that the active model has seen")
    plants: int = Field(ge=0, description="plants in them")
    text: str


class SellersAnswer(AnswerModel):
    """All sellers of the ledger, by name."""

    model_version: str
    items: list[SellerAnswer]
