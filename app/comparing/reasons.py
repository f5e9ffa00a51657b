"""The sentence that a comparison leads with, and what follows it: the only place where either is put together."""

from collections.abc import Sequence
from typing import NamedTuple

from app.batch import apart, bearable, half_up, money, percent, percent_short_of, rough
from app.comparing.choice import RouteChoice, about_nothing, advised, equal_on_average
from app.comparing.results import RouteResult
from app.schemas import Batch

# Money within half of its smallest shown unit is not told as a difference.
NO_DIFFERENCE = 0.5


class Reason(NamedTuple):
    """The leading sentence, and the whole of what is said, which begins with it."""

    lead: str
    whole: str


def compare_reason(batch: Batch, routes: Sequence[RouteResult], choice: RouteChoice) -> Reason:
    """Return why a route is recommended, or why none is."""
    wanted = percent_short_of(batch.risk.confidence, 1.0)  # never "100 %": nothing is certain
    shown = routes[advised(routes, choice)]
    if choice.recommended is not None:
        lead = _taken(batch, routes, choice)
        more = [f"The loss stays within {bearable(batch)} with {percent(shown.chance_loss_within_limit)} chance."]
    elif choice.rule.reason_code == "do_not_order":
        lead = (
            f"Do not order at these prices: even the best route, {shown.name}, loses "
            f"{money(-shown.margin.mean, batch.currency)} on average."
        )
        more = []
    elif choice.rule.reason_code == "no_route_keeps_loss":
        lead = (
            f"No route keeps the loss within {bearable(batch)} with {wanted} chance: the least bad, {shown.name}, does "
            f"with {percent_short_of(shown.chance_loss_within_limit, batch.risk.confidence)}, {_promise(batch, shown)}"
            f"{_instead(batch, routes, shown)}."
        )
        more = []
    else:
        safe = max(
            (r for r in routes if r.chance_loss_within_limit >= batch.risk.confidence), key=lambda r: r.margin.mean
        )
        lead = (
            f"No route both keeps the loss within {bearable(batch)} with {wanted} chance and earns money: the best of "
            f"those that keep it, {safe.name}, loses {money(-safe.margin.mean, batch.currency)} on average"
            f"{_instead(batch, routes, safe)}."
        )
        more = []
    # What is worth doing is told among what to do.
    told = shown.worth_apart is not None or choice.rule.reason_code not in ("best_within_limit", "no_route_keeps_loss")
    if shown.splitting is not None and not told:
        more.append(shown.splitting.text)
    return Reason(lead, " ".join([lead, *more]))


def _taken(batch: Batch, routes: Sequence[RouteResult], choice: RouteChoice) -> str:
    """Return the choice of a route: what it promises, and what the best of the others would cost and save."""
    taken = routes[choice.recommended or 0]
    lead = f"Take {taken.name}: {_promise(batch, taken)}"
    other = _best_of_others(routes, taken)
    if other is None:
        return f"{lead}."
    gap, bad = apart(other.margin.mean, taken.margin.mean), apart(other.worst, taken.worst)
    on_average = more_or_less(gap, batch.currency)
    equal = equal_on_average(taken, other, about_nothing(routes))
    if other.chance_loss_within_limit < batch.risk.confidence and (gap > 0 or equal):
        average = f"would leave {on_average} on average" if gap > 0 else f"is about equal on average ({on_average})"
        chance = percent_short_of(other.chance_loss_within_limit, batch.risk.confidence)
        return f"{lead}; {other.name} {average}, but keeps the loss within {bearable(batch)} only with {chance} chance."
    safer = "; this is the safer one" if equal and bad < 0 else ""
    return f"{lead}; {other.name} {_leaves(batch, routes, taken, other)}{safer}."


def _promise(batch: Batch, route: RouteResult) -> str:
    healthy = f"{half_up(route.healthy_two_weeks.mean, 0)} of {route.sent:,} plants healthy two weeks on"
    return f"{healthy}, margin {rough(route.margin.mean, batch.currency)}"


def _best_of_others(routes: Sequence[RouteResult], taken: RouteResult) -> RouteResult | None:
    return max((route for route in routes if route is not taken), key=lambda route: route.margin.mean, default=None)


def _leaves(batch: Batch, routes: Sequence[RouteResult], taken: RouteResult, other: RouteResult) -> str:
    """Return what another route leaves beside one, on average and in a bad case."""
    gap, bad = apart(other.margin.mean, taken.margin.mean), apart(other.worst, taken.worst)
    on_average = more_or_less(gap, batch.currency)
    in_bad = f"{more_or_less(bad, batch.currency)} in the worst 1 in 20"
    if equal_on_average(taken, other, about_nothing(routes)):
        return f"is about equal on average ({on_average}), and leaves {in_bad}"
    return f"leaves {on_average} on average, {'but' if bad * gap < 0 else 'and'} {in_bad}"


def _instead(batch: Batch, routes: Sequence[RouteResult], named: RouteResult) -> str:
    """Return what the best of the other routes costs and saves where none can be taken; nothing without others."""
    other = _best_of_others(routes, named)
    if other is None:
        return ""
    chance = percent_short_of(other.chance_loss_within_limit, batch.risk.confidence)
    return f"; {other.name} keeps it with {chance}, {_leaves(batch, routes, named, other)}"


def more_or_less(gap: float, currency: str) -> str:
    """Return a difference of money in whole units, as the amounts beside it are shown; `apart` is that of two shown."""
    if abs(gap) < NO_DIFFERENCE:
        return "as much"
    return f"{half_up(abs(gap), 0):,} {currency} {'more' if gap > 0 else 'less'}"
