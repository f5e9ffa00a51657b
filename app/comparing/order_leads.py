"""The sentence that an answer about an order leads with."""

from collections.abc import Sequence
from typing import NamedTuple

from app.batch import listed, percent, percent_short_of, rough, shown
from app.comparing.order_choice import OrderChoice
from app.schemas import Line, OrderSizeRequest, RouteOrder, WishListRequest

MOST_NAMED = 5


def plant(line: Line) -> str:
    """Return the name of a plant."""
    return line.genus if line.cultivar is None else f"{line.genus} {line.cultivar}"


def order_size_lead(request: OrderSizeRequest, routes: Sequence[RouteOrder]) -> str:
    """Return how many to order by the route on which the batch costs least, and what the next one would take."""
    target = request.target
    name = plant(request.lines[target.line])
    wanted = f"{target.healthy:,} healthy with {percent_short_of(target.confidence, 1.0)} chance"
    with_rest = " with the rest" if len(request.lines) > 1 else ""
    sized = [
        (o.landed_cost, o.quantity, o.name)
        for o in routes
        if o.quantity is not None and o.landed_cost is not None and o.possible is None
    ]
    if not sized and any(o.possible for o in routes):
        return _possible_lead(request, routes, name, with_rest)
    if not sized:
        where = "any route" if len(routes) > 1 else routes[0].name
        return f"No order up to 10,000 {name} leaves {wanted} on {where}."
    (cost, quantity, route), *others = sorted(sized, key=lambda one: one[0])
    landed = f"{rough(cost, request.currency)} landed{with_rest}"
    said = f"Order {quantity:,} {name} by {route}: at least {wanted}, {landed}"
    if others:
        other_cost, other_quantity, other = others[0]
        amount = "as many" if other_quantity == quantity else f"{other_quantity:,}"
        dearer = float(shown(other_cost, request.currency) - shown(cost, request.currency))
        said += f"; by {other} {amount}, {rough(dearer, request.currency)} dearer"
    elif len(routes) > 1:
        short = next(one for one in routes if one.name != route)
        said += f"; by {short.name} {_needed(short)}"
    return f"{said}."


def _possible_lead(request: OrderSizeRequest, routes: Sequence[RouteOrder], name: str, with_rest: str) -> str:
    """Return what to order where as sure as wanted takes more than is worth placing: the surest, then the cheapest."""
    target = request.target
    possible = [(-o.possible.confidence, o.possible.landed_cost, o) for o in routes if o.possible is not None]
    route = min(possible, key=lambda one: one[:2])[2]
    instead = route.possible
    assert instead is not None  # noqa: S101 - it is one of those with one
    sure = percent_short_of(target.confidence, 1.0)
    return (
        f"Order {instead.quantity:,} {name} by {route.name}: at least {target.healthy:,} healthy with "
        f"{percent(instead.confidence)} chance, {rough(instead.landed_cost, request.currency)} landed{with_rest}; "
        f"{sure} is not to be had, since a box may be lost whole: {_needed(route)}."
    )


def _needed(order: RouteOrder) -> str:
    return "no order up to 10,000 does" if order.quantity is None else f"it would take {order.quantity:,}"


class KeptByBudget(NamedTuple):
    """The best order without the budget that keeps it from being placed, and what any costs before its plants."""

    unlimited: OrderChoice
    least_cost: float


def wish_list_lead(request: WishListRequest, best: OrderChoice | None, kept: KeptByBudget | None = None) -> str:
    """Return what to order by which route, what it costs and earns, and what to leave out.

    `kept` is what the budget alone keeps from being ordered, if it does.
    """
    within = "" if request.budget is None else f" within {rough(request.budget, request.currency)}"
    if kept is not None:
        least, landed, margin = (
            rough(amount, request.currency)
            for amount in (kept.least_cost, kept.unlimited.landed_cost, kept.unlimited.margin_mean)
        )
        return (
            f"Order nothing of this list{within}: before its plants an order costs {least}, and none so small earns "
            f"its landed cost; the best without that limit is {landed} landed, {margin} margin on average."
        )
    if best is None:
        return f"Order nothing of this list{within}: no order earns its landed cost on average."
    taken = [(n, line) for n, line in zip(best.quantities, request.lines, strict=True) if n]
    left = [plant(line) for n, line in zip(best.quantities, request.lines, strict=True) if not n]
    if len(taken) <= MOST_NAMED:
        what = listed([f"{n:,} {plant(line)}" for n, line in taken])
    else:
        what = f"{sum(n for n, _ in taken):,} plants of {len(taken)} lines"
    landed, margin = (rough(amount, request.currency) for amount in (best.landed_cost, best.margin_mean))
    said = f"Order {what} by {best.route}{within}: {landed} landed, {margin} margin on average"
    if left:
        said += f"; leave out {listed(left) if len(left) <= MOST_NAMED else f'the other {len(left)} lines'}"
    return f"{said}."
