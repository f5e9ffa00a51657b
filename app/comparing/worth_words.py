"""What is said of the worth of knowing: the only place where its sentences are put together."""

from collections.abc import Sequence
from math import floor, log10

from app.batch import bearable, boxes_words, listed, percent
from app.comparing.knowable import Knowable
from app.schemas import Known, Learned, WorthFound, WorthKnowingRequest

MOST_TOLD = 3
# What moves a margin by less, and money below that, is not worth a word.
LEAST_SHARE = 0.01
LEAST_AMOUNT = 0.01
STANDARD_ERRORS = 2.0
# Nobody can find these out before an order: they are told among what is known, never among what to do.
NOT_TO_BE_ASKED = ("box_luck", "plants_in_general")
# What would be learned is known in part only, and stands before what it is part of.
PART_OF = {"ask_last_boxes": "transit_time", "more_boxes": "genus"}


def thing(request: WorthKnowingRequest, one: Knowable) -> str:
    """Return what would be known, or what would be asked or done to learn it, in a few words."""
    return (_act if one.code in PART_OF else _thing)(request, one.code, one.genus)


def known_text(request: WorthKnowingRequest, one: Knowable, found: WorthFound) -> str:
    """Return what it would be worth to know one thing before this order."""
    what = f"Knowing {_thing(request, one.code, one.genus)} before ordering"
    if not found.clear:
        return f"{what} {_nothing(found)}."
    worth = f"{what} would be worth about {_with_error(found)} on this order"
    return f"{worth}: it would change the choice {_times(found)}.{_limits(one.code)}"


def learned_text(request: WorthKnowingRequest, one: Knowable, found: WorthFound) -> str:
    """Return what it would be worth to ask or to learn one thing."""
    act = _act(request, one.code, one.genus)
    what = f"{act[0].upper()}{act[1:]}" if one.code == "ask_last_boxes" else f"What {act} would tell"
    if not found.clear:
        return f"{what} {_nothing(found)}."
    if one.code == "ask_last_boxes":
        return f"{what} is worth about {_with_error(found)} on this order."
    return f"{what} is worth about {_a_year(request, found.worth)}, {_with_error(found)} each."


def worth_lead(
    request: WorthKnowingRequest, known: Sequence[Known], learned: Sequence[Learned], *, as_safe_as: str | None
) -> str:
    """Return what asking and learning is worth, the most of it in one sentence."""
    told = [one for one in learned if one.clear]
    parts = {(PART_OF[one.code], one.genus) for one in told}
    most = [
        one for one in known if one.clear and one.code not in NOT_TO_BE_ASKED and (one.code, one.genus) not in parts
    ]
    said = [_learned_in_short(request, one, is_first=one is told[0]) for one in told[:MOST_TOLD]]
    beside = [
        f"knowing {_thing(request, one.code, one.genus)} beforehand {'' if i or said else 'would be worth '}about "
        f"{_amount(one.worth, one.currency)}"
        for i, one in enumerate(most[: MOST_TOLD - len(said)])
    ]
    counted = f", all no less safe than {as_safe_as}" if as_safe_as else ""
    if said:
        whole = "; ".join([*said, *beside])
        return f"{whole[0].upper()}{whole[1:]}{counted}."
    nothing = "Nothing that could be asked or learned before this order is worth more than can be told from nothing"
    if beside:
        return f"{nothing}; {'; '.join(beside)}{counted}."
    if any(one.changed_share for one in (*known, *learned) if one.code not in NOT_TO_BE_ASKED):
        return f"{nothing}."
    return "Nothing that could be asked or learned would change the choice: it is worth nothing on this order."


def moves_text(request: WorthKnowingRequest, known: Sequence[Known], route: str) -> str:
    """Return what moves the margin of a route most."""
    moving = [one for one in known if one.spread_share > max(LEAST_SHARE, STANDARD_ERRORS * one.spread_share_error)]
    moving.sort(key=lambda one: -one.spread_share)
    if not moving:
        return f"No single thing moves the margin of {route} by more than the rest."
    shares = [f"{_thing(request, one.code, one.genus)} ({percent(one.spread_share)})" for one in moving[:MOST_TOLD]]
    return (
        f"What moves the margin of {route} most, in parts of its variance: {listed(shares)}; the rest is less, acts "
        "only together, or is the chance of each plant."
    )


def worth_notes(
    request: WorthKnowingRequest,
    learned: Sequence[Learned],
    *,
    draws: int,
    as_safe_as: str | None,
    limit_left_out: bool,
) -> list[str]:
    """Return what is counted and what is approximate."""
    names = [route.name for route in request.routes]
    notes = [
        f"The choice is between {listed([*names, 'ordering nothing'])}, by money on average. Other quantities and "
        "dates are left out.",
        f"From {draws:,} draws; the worth is that of a rule that anyone could follow, so rather too little than too "
        "much. Each thing stands by itself: two together are not worth their sum. As in the comparison, the routes "
        "share their luck: a slow week is slow on all of them.",
    ]
    if as_safe_as:
        notes.insert(
            1,
            f"Your limit keeps you from a route that earns more on average than {as_safe_as}. What counts is what "
            f"knowing would earn while the loss stays within {bearable(request)} no less surely than on {as_safe_as}.",
        )
    if limit_left_out:
        kept = f"No route that earns money keeps the loss within {bearable(request)} as surely as you ask"
        notes.insert(1, f"{kept}: here the limit is left out, and money alone counts.")
    codes = {one.code for one in learned}
    if "ask_last_boxes" in codes:
        notes.append(
            "What last boxes took tells how long the lane takes, not what is this box's own; how much of the spread is "
            "the lane's is a judgement."
        )
    if "more_boxes" in codes:
        notes.append(
            f"More boxes hold as many plants of the genus as here, {request.orders_a_year:,} orders a year are like "
            "this one, and all but the genus is taken as known in those boxes: so rather too much. What the boxes "
            "cost is not taken off."
        )
    return notes


def _thing(request: WorthKnowingRequest, code: str, genus: str | None) -> str:
    return {
        "seller": f"how plants of {request.seller} travel" if request.seller else "how this seller's plants travel",
        "genus": f"how {genus} travels",
        "transit_time": "how long the box will take",
        "temperature": "the temperature in the box",
        "box_luck": "the luck of this box",
        "plants_in_general": "how plants packed so stand travelling at all",
    }[code]


def _act(request: WorthKnowingRequest, code: str, genus: str | None) -> str:
    if code == "ask_last_boxes":
        n = request.asked_boxes
        return "asking what their last box took" if n == 1 else f"asking what their last {n:,} boxes took"
    more = "one more box" if request.more_boxes == 1 else boxes_words(request.more_boxes).replace(" ", " more ", 1)
    return f"{more} of {genus}"


def _learned_in_short(request: WorthKnowingRequest, one: Learned, *, is_first: bool) -> str:
    what = f"{_act(request, one.code, one.genus)}{' would be worth' if is_first else ''} about"
    if one.worth_a_year is None:
        return f"{what} {_amount(one.worth, one.currency)} on this order"
    return f"{what} {_a_year(request, one.worth)}"


def _a_year(request: WorthKnowingRequest, worth: float) -> str:
    orders = "1 order" if request.orders_a_year == 1 else f"{request.orders_a_year:,} orders"
    return f"{_amount(worth * request.orders_a_year, request.currency)} over a year of {orders} like this one"


def _nothing(found: WorthFound) -> str:
    if found.changed_share == 0:
        return "would not change the choice: it is worth nothing on this order"
    within = _amount(STANDARD_ERRORS * found.standard_error, found.currency, digits=1)
    return f"has a worth that is not distinguishable from nothing on this order: two standard errors are {within}"


def _with_error(found: WorthFound) -> str:
    error = _amount(found.standard_error, found.currency, digits=1)
    return f"{_amount(found.worth, found.currency)} (standard error {error})"


def _amount(amount: float, currency: str, digits: int = 2) -> str:
    """Return an amount in whole units and so many digits that count: more would look surer than it is."""
    if amount < 1:
        return f"{max(amount, LEAST_AMOUNT):.1g} {currency}"
    left_of_point = floor(log10(amount)) + 1
    return f"{round(amount, min(digits - left_of_point, 0)):,.0f} {currency}"


def _times(found: WorthFound) -> str:
    return f"in {percent(found.changed_share)} of cases" if found.changed_share >= LEAST_SHARE else "in rare cases"


def _limits(code: str) -> str:
    return {
        "transit_time": " Asking about times tells part of it.",
        "temperature": " A forecast tells part of it, a logger all of it, but only afterwards.",
        "box_luck": " Nobody can know it before.",
        "plants_in_general": " Own boxes of any kind teach it.",
    }.get(code, "")
