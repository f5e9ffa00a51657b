"""What to claim and until when, in one sentence."""

from collections.abc import Sequence
from datetime import date, datetime

from app.claims.draft import Told, day_in_words
from app.claims.tally import in_words
from app.schemas import Clock, RecourseKind, SettledAnswer

NOTHING = "Nothing to claim of the seller: no plant was dead or missing."
ASKED: dict[RecourseKind, str] = {
    "refund": "Claim {amount}",
    "replacement": "Claim new plants for {amount}",
    "none": "Ask for {amount}, though nothing was agreed,",
}


def claim_lead(told: Told, *, clocks: Sequence[Clock], settled: SettledAnswer | None, now: datetime) -> str:
    """Return the sentence: ``Claim 190.50 GBP by 28 November 2026, 14:00.``

    Plants without a price are counted, not priced; a settled claim says how it ended.
    """
    lines, total, currency = told.lines, told.total, told.currency
    lost = [line for line in lines if (line.dead or 0) + line.missing]
    if settled is not None:
        amount = "" if settled.amount is None else f", {in_words(settled.amount, currency)}"
        return f"Settled: {settled.outcome}{amount}."
    if not lost:
        return NOTHING
    unpriced = sum((line.dead or 0) + line.missing for line in lost if line.value is None or line.unit_cost is None)
    plants = f"{unpriced:,} {'plant' if unpriced == 1 else 'plants'} whose price is not recorded"
    amount = plants if not total else in_words(total, currency) + (f" and {plants}" if unpriced else "")
    until = next(clock.until for clock in clocks if clock.code == "seller_window")
    assert until is not None  # noqa: S101 - a seller's window always has an end
    when = f"at once: the time to write ended {_moment(until)}" if _has_passed(until, now) else f"by {_moment(until)}"
    return f"{ASKED[told.agreed or 'refund'].format(amount=amount)} {when}."


def _has_passed(until: datetime | date, now: datetime) -> bool:
    return until < now if isinstance(until, datetime) else until < now.date()


def _moment(when: datetime | date) -> str:
    """Return the last day to write, with the hour where it counts; local time at the destination."""
    return f"{day_in_words(when.date())}, {when:%H:%M}" if isinstance(when, datetime) else day_in_words(when)
