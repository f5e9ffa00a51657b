"""The one plain sentence that an answer leads with."""

from collections.abc import Sequence

from app.batch import bearable, money, percent
from app.comparing.results import RouteResult
from app.schemas import Batch
from model.decision import Choice

FIRST_HALF = 0.5


def bad_boxes(chance_better: float) -> str:
    """Return how what is better in fewer than half of the draws is better on average all the same; else nothing."""
    return "" if chance_better > FIRST_HALF else ", mostly by sparing the bad boxes"


def compare_reason(batch: Batch, routes: Sequence[RouteResult], choice: Choice) -> str:
    """Return why a route is recommended, or why none is."""
    by_name = {route.name: route for route in routes}
    wanted = percent(batch.risk.confidence)
    if choice.recommended is not None:
        best = by_name[choice.recommended]
        reason = (
            f"Take {best.name}: of {best.sent:,} plants {best.healthy_two_weeks.mean:.0f} are expected "
            f"to be healthy two weeks on, the margin averages {money(best.margin.mean, batch.currency)}"
        )
        others = [r for r in routes if r is not best]
        if others:
            second = max(others, key=lambda r: r.margin.mean)
            if second.margin.mean > best.margin.mean:
                reason += (
                    f"; {second.name} would average {money(second.margin.mean, batch.currency)}, but keeps the "
                    f"loss within {bearable(batch)} only with {percent(second.chance_loss_within_limit)} chance"
                )
            else:
                reason += (
                    f" against {money(second.margin.mean, batch.currency)} on {second.name}, better in "
                    f"{percent(best.chance_best)} of the draws{bad_boxes(best.chance_best)}"
                )
        reason += (
            f", and the loss stays within {bearable(batch)} with {percent(best.chance_loss_within_limit)} chance "
            f"(wanted {wanted})."
        )
    elif choice.reason_code == "do_not_order":
        best = max(routes, key=lambda r: r.margin.mean)
        reason = (
            f"Do not order at these prices: even the best route, {best.name}, loses "
            f"{money(-best.margin.mean, batch.currency)} on average."
        )
    elif choice.reason_code == "no_route_keeps_loss":
        least = by_name[choice.least_bad or routes[0].name]
        reason = (
            f"No route keeps the loss within {bearable(batch)} with {wanted} chance. The least bad is {least.name} "
            f"with {percent(least.chance_loss_within_limit)}; its margin averages "
            f"{money(least.margin.mean, batch.currency)}."
        )
    else:
        safe = max(
            (r for r in routes if r.chance_loss_within_limit >= batch.risk.confidence),
            key=lambda r: r.margin.mean,
        )
        reason = (
            f"No route both keeps the loss within {bearable(batch)} with {wanted} chance and earns money: the best of "
            f"those that keep it, {safe.name}, loses {money(-safe.margin.mean, batch.currency)} on average."
        )
    shown = by_name.get(choice.recommended or choice.least_bad or "")
    if shown is not None and shown.splitting is not None:
        reason += f" {shown.splitting.text}"
    return reason
