"""The commands that answer from a file, without a server."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pydantic import BaseModel

from app.batch import stored_seller, with_seller
from app.cli.report import (
    compare_report,
    hold_report,
    order_size_report,
    risk_report,
    wish_list_report,
    worth_knowing_report,
)
from app.comparing import answer_compare, answer_hold, answer_order_size, answer_wish_list, answer_worth_knowing
from app.risk import answer_risk
from app.schemas import (
    Batch,
    CompareAnswer,
    CompareRequest,
    HoldAnswer,
    HoldRequest,
    OrderSizeAnswer,
    OrderSizeRequest,
    RequestBody,
    RiskAnswer,
    RiskRequest,
    WishListAnswer,
    WishListRequest,
    WorthKnowingAnswer,
    WorthKnowingRequest,
)
from app.serving import ActiveModel, Engine
from app.settings import Settings
from app.store import Database

Asked = TypeVar("Asked", bound=BaseModel)
Answer = TypeVar("Answer", bound=BaseModel)


@dataclass(frozen=True)
class Question(Generic[Asked, Answer]):
    """One kind of question: how it is read, answered and printed."""

    body: RequestBody[Asked]
    service: Callable[..., Answer | bytes]
    answer: type[Answer]
    report: Callable[[Asked, Answer], str]

    def ask(self, data: bytes, engine: Engine, *, as_json: bool, database: Database | None = None) -> str:
        """Return the answer to a request body, as JSON or as text; a ledger says what its seller's record fills in.

        Raises
        ------
        Problem
            If the body is not what the question takes.
        """
        request = self.body.parse(data)
        if database is not None and isinstance(request, Batch):
            filled = with_seller(request, stored_seller(database, request.seller))
            request, answer = filled.request, self.service(filled.request, engine, filled.from_record)
        else:
            answer = self.service(request, engine)
        if as_json:
            return (answer if isinstance(answer, bytes) else answer.model_dump_json().encode()).decode()
        if isinstance(answer, bytes):
            answer = self.answer.model_validate_json(answer)
        return self.report(request, answer)


QUESTIONS: dict[str, Question[Any, Any]] = {
    "compare": Question(RequestBody(CompareRequest), answer_compare, CompareAnswer, compare_report),
    "hold": Question(RequestBody(HoldRequest), answer_hold, HoldAnswer, hold_report),
    "order-size": Question(RequestBody(OrderSizeRequest), answer_order_size, OrderSizeAnswer, order_size_report),
    "wish-list": Question(RequestBody(WishListRequest), answer_wish_list, WishListAnswer, wish_list_report),
    "worth-knowing": Question(
        RequestBody(WorthKnowingRequest), answer_worth_knowing, WorthKnowingAnswer, worth_knowing_report
    ),
    "risk": Question(RequestBody(RiskRequest), answer_risk, RiskAnswer, risk_report),
}


def ask(command: str, data: bytes, settings: Settings, *, as_json: bool) -> tuple[str, str | None]:
    """Return the answer to a request body of one of the commands, and why not the active model answers, if so.

    The active version of the ledger answers where there is a ledger, the rules of thumb alone where there is none.

    Raises
    ------
    Problem
        If the body is not what the question takes, or the database cannot be used.
    """
    with Database(settings.database_url) as database:
        database.prepare_if_present()
        active = ActiveModel(database)
        engine = active.refresh()
        return QUESTIONS[command].ask(data, engine, as_json=as_json, database=database), active.notice
