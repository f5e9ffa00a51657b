"""Which route of a comparison to take: the best mean margin that keeps the loss, or a safer one that is about equal."""

from collections.abc import Sequence
from typing import NamedTuple

from app.comparing.results import RouteResult
from app.schemas import Batch
from model.decision import Choice, about_equal, choose_route, safer_of_equals
from model.reference import CONSTANTS


class RouteChoice(NamedTuple):
    """The route to take, if any, by position, and by what rule.

    `safer` is whether it was taken before the one with the best mean margin, being about equal and safer.
    """

    recommended: int | None
    rule: Choice
    safer: bool


def choose(batch: Batch, routes: Sequence[RouteResult]) -> RouteChoice:
    """Return the choice between the routes of a comparison."""
    names = [route.name for route in routes]
    rule = choose_route(
        names,
        [route.margin.mean for route in routes],
        [route.chance_loss_within_limit for route in routes],
        batch.risk.confidence,
    )
    if rule.recommended is None:
        return RouteChoice(None, rule, safer=False)
    best = names.index(rule.recommended)
    allowed = [
        i
        for i, route in enumerate(routes)
        if route.chance_loss_within_limit >= batch.risk.confidence and route.margin.mean >= 0
    ]
    taken = safer_of_equals(
        [route.simulated.money.margin for route in routes],
        best,
        allowed,
        orders=CONSTANTS.equal_orders,
        least=about_nothing(routes),
    )
    return RouteChoice(taken, rule, safer=taken != best)


def about_nothing(routes: Sequence[RouteResult]) -> float:
    """Return the amount that is small beside what the order puts at stake on its dearest route."""
    return CONSTANTS.equal_cost_share * max(float(route.simulated.money.cost.total) for route in routes)


def equal_on_average(one: RouteResult, other: RouteResult, least: float) -> bool:
    """Whether the mean margins of two routes are about equal; see `about_nothing` for the least amount."""
    margins = one.simulated.money.margin, other.simulated.money.margin
    return about_equal(*margins, orders=CONSTANTS.equal_orders, least=least)


def advised(routes: Sequence[RouteResult], choice: RouteChoice) -> int:
    """Return the position of the route that an answer is about: the one to take, else the least bad, else the best."""
    if choice.recommended is not None:
        return choice.recommended
    for i, route in enumerate(routes):
        if route.name == choice.rule.least_bad:
            return i
    return max(range(len(routes)), key=lambda i: routes[i].margin.mean)
