"""``POST /v1/order-size``: the smallest quantity that leaves enough healthy plants."""

from typing import Annotated

from pydantic import Field

from app.schemas.answers import AnswerModel, Assumed, Caution, Distribution, NotCounted
from app.schemas.compare import CompareRequest, MoneyItem
from app.schemas.fields import Confidence, Fault, Quantity, RequestModel
from model.reference import CONSTANTS


class Target(RequestModel):
    """How many plants of one line are wanted healthy, and how surely."""

    line: Annotated[int, Field(ge=0, le=199)] = Field(default=0, description="position in lines, from 0")
    healthy: Quantity = Field(description="plants wanted healthy at unboxing, 1 to 100,000")
    confidence: Confidence = Field(
        default=CONSTANTS.order_confidence, description="wanted chance of at least that many, 0.5 to 0.999"
    )


class OrderSizeRequest(CompareRequest):
    """A batch with a wanted number of healthy plants."""

    target: Target

    def disagreements(self) -> list[Fault]:
        """Return the faults between fields that are each in range."""
        faults = super().disagreements()
        if self.target.line >= len(self.lines):
            last = len(self.lines) - 1
            faults.append((("target", "line"), f"must be the position of a line: 0 to {last}" if last else "must be 0"))
        return faults


class PossibleOrder(AnswerModel):
    """The surest order worth placing, where as sure as wanted takes more than that."""

    confidence: float = Field(
        ge=0, le=1, description="of at least the wanted number healthy: the surest of 0.5 to 0.95"
    )
    quantity: int = Field(description="of the target line: the smallest that reaches that confidence")
    boxes: int
    chance: float = Field(ge=0, le=1, description="of at least the wanted number healthy at that quantity")
    healthy: Distribution = Field(description="plants of the target line healthy at unboxing")
    items: list[MoneyItem] = Field(description="add up exactly to landed_cost")
    landed_cost: float = Field(description="of the whole batch at that quantity")


class RouteOrder(AnswerModel):
    """The order that one route needs."""

    name: str
    quantity: int | None = Field(description="of the target line; null if more than 10,000 would be needed")
    boxes: int | None
    chance: float | None = Field(ge=0, le=1, description="of at least the wanted number healthy at that quantity")
    healthy: Distribution | None = Field(description="plants of the target line healthy at unboxing")
    items: list[MoneyItem] = Field(description="add up exactly to landed_cost; empty without a quantity")
    landed_cost: float | None = Field(description="of the whole batch at that quantity")
    possible: PossibleOrder | None = Field(
        description="what to order instead where the quantity is beyond any order worth placing (a box may be lost "
        "whole, which more plants in it hardly help); null where it is not"
    )


class OrderSizeAnswer(AnswerModel):
    """Routes in the order asked."""

    model_version: str
    seed: int
    draws: int
    lead: str = Field(description="how many to order by the route on which the batch costs least, in one sentence")
    routes: list[RouteOrder]
    assumed: list[Assumed]
    not_counted: list[NotCounted] = Field(description="costs left out of the request: in no sum")
    cautions: list[Caution]
