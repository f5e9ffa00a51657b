"""``GET /v1/shipments/{id}/claim``: what can be claimed for a box, of whom, until when, and what it is worth."""

from datetime import date, datetime
from typing import Literal

from pydantic import Field

from app.schemas.answers import AnswerModel, Caution
from app.schemas.shipment_answers import CountedLine

RecourseKind = Literal["refund", "replacement", "none"]


class ClaimLine(CountedLine):
    """One line: ordered, found and lost."""

    line: int = Field(description="position in the shipment, from 0")
    dead: int | None = Field(description="at unboxing; null where only the healthy were counted")
    missing: int = Field(description="ordered and not sent")
    unit_cost: float | None
    value: float | None = Field(description="(dead + missing) x unit_cost; null where one of them is not known")
    note: str


class Point(AnswerModel):
    """A thing to know."""

    code: str
    text: str


class Evidence(AnswerModel):
    """Something to attach to a claim; `files` are names of files that the buyer keeps."""

    code: str
    text: str
    files: list[str]


class Clock(AnswerModel):
    """A time that runs out.

    Moments carry the offset of the destination; a date runs until its end there. `until` is null where nobody but the
    one who decides can say.
    """

    code: Literal["seller_window", "payment_protection", "carrier_damage", "carrier_delay"]
    from_: datetime | date = Field(alias="from")
    until: datetime | date | None
    source: str = Field(description="where the length of the time comes from")
    text: str
    decided_by: str


class RecourseWorth(AnswerModel):
    """What one arrangement is worth, in money."""

    kind: RecourseKind
    worth: float
    text: str


class RecourseAnswer(AnswerModel):
    """What was agreed, and what the claim is worth under each arrangement."""

    agreed: RecourseKind | None = Field(description="null where nothing is recorded")
    chance: float = Field(description="that a claim is honoured, 0 to 1")
    options: list[RecourseWorth]


class SettledAnswer(AnswerModel):
    """How the claim ended."""

    outcome: str
    amount: float | None
    settled_on: date | None


class ClaimAnswer(AnswerModel):
    """A claim made ready; it is worked out anew from what is recorded."""

    lead: str = Field(description="what to claim and until when, in one sentence; times are local at the destination")
    id: str
    reference: str | None
    model_version: str | None = Field(description="of the forecast behind a replacement's chance; null without one")
    language: Literal["en"]
    seller: str | None
    service: str
    origin: str
    destination: str
    ship_date: date
    arrival_date: date
    opened_at: datetime | None
    currency: str | None
    lines: list[ClaimLine]
    dead: int
    missing: int
    damaged: int
    total: float = Field(description="of the values that are known")
    claimable: list[Point]
    rarely_paid: list[Point] = Field(description="what sellers rarely compensate")
    evidence: list[Evidence]
    clocks: list[Clock]
    recourse: RecourseAnswer
    settled: SettledAnswer | None
    draft: str = Field(description="a message to the seller, plain text")
    cautions: list[Caution]
