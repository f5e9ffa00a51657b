"""``POST /v1/wish-list``: which lines to order, by which route, and how many."""

from typing import Annotated

from pydantic import Field

from app.schemas.answers import AnswerModel, Assumed, Caution, Distribution, NotCounted
from app.schemas.batch import Line
from app.schemas.compare import CompareRequest
from app.schemas.fields import Amount, Confidence, Quantity
from app.schemas.risk import ChanceInterval
from model.reference import CONSTANTS


class WishLine(Line):
    """Plants of one kind, and how many of them are wanted healthy."""

    wanted_healthy: Quantity | None = Field(
        default=None, description="plants wanted healthy at unboxing, 1 to 100,000; null: no quantity is worked out"
    )
    confidence: Confidence = Field(
        default=CONSTANTS.wish_confidence, description="wanted chance of at least that many, 0.5 to 0.999"
    )


class WishListRequest(CompareRequest):
    """A batch as it might be ordered, line by line."""

    lines: Annotated[list[WishLine], Field(min_length=1, max_length=200)]  # type: ignore[assignment]
    budget: Amount | None = Field(
        default=None, description="the most that the order may cost landed, 0 to 1e9; null: no limit"
    )


class WantedOrder(AnswerModel):
    """The quantity of a line that reaches what is wanted of it, the other lines as asked."""

    wanted_healthy: int
    confidence: float
    quantity: int | None = Field(description="null if more than 10,000 would be needed")
    boxes: int | None = Field(description="of the whole batch at that quantity")
    chance: float | None = Field(ge=0, le=1, description="of at least the wanted number healthy at that quantity")
    landed_cost: float | None = Field(description="of the whole batch at that quantity")


class WishOutcome(AnswerModel):
    """What one line brings on one route; low and high are the 10 % and 90 % points over the draws."""

    line: int = Field(description="position in lines, from 0")
    genus: str
    cultivar: str | None
    quantity: int
    healthy: ChanceInterval = Field(description="chance of one plant at unboxing")
    healthy_two_weeks: ChanceInterval = Field(description="also counts injury that shows late")
    landed_cost: float = Field(description="the line's share, see cost_shares")
    recovered_mean: float = Field(description="mean of claims on its dead plants")
    cost_per_healthy_plant: float | None = Field(
        description="its landed cost less what is recovered, over its plants healthy two weeks on; null if none ever is"
    )
    margin_mean: float
    margin_per_plant: float = Field(description="of a plant ordered")
    loses_money: bool
    reason: str | None = Field(description="why it loses money; null where it does not")
    gain_if_left_out: float = Field(
        description="what the mean margin of the batch would gain without the line: its plants with duty and tax and "
        "the boxes that it fills are saved, costs a waybill or an order are not"
    )
    wanted: WantedOrder | None = Field(description="null without wanted_healthy")


class WishRoute(AnswerModel):
    """All lines on one route."""

    name: str
    boxes: int
    landed_cost: float
    margin: Distribution
    chance_loss_within_limit: float = Field(ge=0, le=1)
    lines: list[WishOutcome]


class WishAdvice(AnswerModel):
    """Where to order a line."""

    line: int = Field(description="position in lines, from 0")
    route: str | None = Field(description="the route with its best margin a plant; null where it loses money on all")
    text: str


class BestOrder(AnswerModel):
    """What to order: the one with the best mean margin found within the budget, by one route."""

    route: str
    quantities: list[int] = Field(description="of the lines, in the order asked; 0 where one is left out")
    boxes: int
    landed_cost: float
    margin_mean: float


class WishListAnswer(AnswerModel):
    """Routes in the order asked, lines in the order asked, and the best route of each line."""

    model_version: str
    seed: int
    draws: int
    lead: str = Field(description="what to order, in one sentence")
    best: BestOrder | None = Field(description="null where no order earns its landed cost")
    cost_shares: str = Field(description="how the landed cost is shared between the lines")
    advice: list[WishAdvice]
    routes: list[WishRoute]
    assumed: list[Assumed]
    not_counted: list[NotCounted] = Field(description="costs left out of the request: in no sum")
    cautions: list[Caution]
