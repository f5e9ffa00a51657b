"""``POST /v1/worth-knowing``: what moves the answer most, and what it would be worth to know it before deciding."""

from typing import Annotated

from pydantic import Field

from app.schemas.answers import AnswerModel, Assumed, NotCounted
from app.schemas.compare import CompareRequest
from model.reference import CONSTANTS

Few = Annotated[int, Field(ge=1, le=1000)]


class WorthKnowingRequest(CompareRequest):
    """A batch as it is compared, and what might be asked or learned."""

    orders_a_year: Few = Field(
        default=CONSTANTS.orders_a_year, description="orders like this one over which more boxes pay, 1 to 1,000"
    )
    asked_boxes: Few = Field(
        default=CONSTANTS.asked_boxes, description="last boxes that the seller is asked about, 1 to 1,000"
    )
    more_boxes: Few = Field(
        default=CONSTANTS.learning_boxes, description="more boxes of each genus that might be bought, 1 to 1,000"
    )


class WorthFound(AnswerModel):
    """What something is worth on this order, in the currency of the request."""

    worth: float = Field(
        ge=0, description="mean gain of deciding once it is known; 0 where it cannot be told from nothing"
    )
    standard_error: float = Field(ge=0, description="of that mean over the draws")
    clear: bool = Field(description="whether the worth is more than two standard errors, and so told from nothing")
    changed_share: float = Field(ge=0, le=1, description="share of draws in which another choice would be made")
    currency: str


class WorthOf(WorthFound):
    """The same of something that is named."""

    code: str = Field(
        description="seller, genus, transit_time, temperature, box_luck or plants_in_general of what could be known; "
        "ask_last_boxes or more_boxes of what could be learned; more may follow"
    )
    genus: str | None = Field(description="which, with the codes genus and more_boxes")
    name: str = Field(description="it in a few words")
    text: str


class Known(WorthOf):
    """Something that could be known before deciding; finding it out in part is worth less."""

    spread_share: float = Field(
        ge=0, description="first-order share of the variance of the margin on the route `about`; all add to about 1"
    )
    spread_share_error: float = Field(ge=0, description="its standard error")


class Learned(WorthOf):
    """Something that could be asked or learned, and so known in part."""

    boxes: int = Field(description="asked about, or bought")
    worth_a_year: float | None = Field(ge=0, description="over the orders of a year; null where asked for one order")


class WorthKnowingAnswer(AnswerModel):
    """Everything by itself: what two things are worth together is not the sum."""

    model_version: str
    seed: int
    draws: int
    lead: str = Field(description="what asking and learning is worth, in one sentence")
    recommended: str | None = Field(description="as in the comparison")
    as_safe_as: str | None = Field(
        description="the recommended route, where the limit on the loss forbids one that would earn more: then a worth "
        "is what knowing would earn while that limit is kept no less surely than on it; null: money alone counts"
    )
    about: str = Field(description="the route whose margin's spread is shared out")
    moves: str = Field(description="what moves that margin most, in one sentence")
    everything: WorthFound = Field(description="if all that is drawn were known: nothing is worth more")
    known: list[Known] = Field(description="the most worth first")
    learned: list[Learned] = Field(description="the most worth first, over a year where it is told")
    notes: list[str] = Field(description="what is counted, and what is approximate")
    assumed: list[Assumed]
    not_counted: list[NotCounted] = Field(description="costs left out of the request: in no sum")
