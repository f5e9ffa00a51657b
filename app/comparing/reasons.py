"""The sentence that a comparison leads with, and what follows it: the only place where either is put together."""

from collections.abc import Sequence
from typing import NamedTuple

from app.batch import bearable, money, percent, percent_short_of, rough
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
    wanted = percent(batch.risk.confidence)
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
            f"with {percent_short_of(shown.chance_loss_within_limit, batch.risk.confidence)}."
        )
        more = [f"Its margin averages {money(shown.margin.mean, batch.currency)}."]
    else:
        safe = max(
            (r for r in routes if r.chance_loss_within_limit >= batch.risk.confidence), key=lambda r: r.margin.mean
        )
        lead = (
            f"No route both keeps the loss within {bearable(batch)} with {wanted} chance and earns money: the best of "
            f"those that keep it, {safe.name}, loses {money(-safe.margin.mean, batch.currency)} on average."
        )
        more = []
    if shown.splitting is not None and choice.rule.reason_code in ("best_within_limit", "no_route_keeps_loss"):
        more.append(shown.splitting.text)
    return Reason(lead, " ".join([lead, *more]))


def _taken(batch: Batch, routes: Sequence[RouteResult], choice: RouteChoice) -> str:
    """Return the choice of a route: what it promises, and what the best of the others would cost and save."""
    taken = routes[choice.recommended or 0]
    lead = (
        f"Take {taken.name}: {taken.healthy_two_weeks.mean:.0f} of {taken.sent:,} plants healthy two weeks on, "
        f"margin {rough(taken.margin.mean, batch.currency)}"
    )
    others = [route for route in routes if route is not taken]
    if not others:
        return f"{lead}."
    other = max(others, key=lambda route: route.margin.mean)
    gap, bad = other.margin.mean - taken.margin.mean, other.worst - taken.worst
    on_average = more_or_less(gap, batch.currency)
    in_bad = f"{more_or_less(bad, batch.currency)} in the worst 1 in 20"
    equal = equal_on_average(taken, other, about_nothing(routes))
    if other.chance_loss_within_limit < batch.risk.confidence and (gap > 0 or equal):
        average = f"would leave {on_average} on average" if gap > 0 else f"is about equal on average ({on_average})"
        chance = percent_short_of(other.chance_loss_within_limit, batch.risk.confidence)
        return f"{lead}; {other.name} {average}, but keeps the loss within {bearable(batch)} only with {chance} chance."
    if equal:
        safer = "; this is the safer one" if bad < 0 else ""
        return f"{lead}; {other.name} is about equal on average ({on_average}), and leaves {in_bad}{safer}."
    return f"{lead}; {other.name} leaves {on_average} on average, {'but' if bad * gap < 0 else 'and'} {in_bad}."


def more_or_less(gap: float, currency: str) -> str:
    """Return a difference of money in words."""
    if abs(gap) < NO_DIFFERENCE:
        return "as much"
    return f"{rough(abs(gap), currency)} {'more' if gap > 0 else 'less'}"
