"""The sentence that a hold leads with, and what follows it."""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

import numpy as np

from app.batch import bearable, half_up, listed, money, percent, percent_short_of, rough
from app.comparing.departures import Departure, Departures
from app.comparing.reasons import NO_DIFFERENCE, Reason, more_or_less
from app.schemas import BlockedBy, HoldRequest
from model.decision import chance_better

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
BLOCKED: dict[BlockedBy, str] = {
    "past": "past",
    "certificate_lapsed": "not covered by the certificate",
    "treatment_lapsed": "not covered by the treatment",
    "skipped_weekday": "a day without departure",
    "too_late": "too late for the day it is needed by",
}
MOST_RUNS = 3
A_WEEK = len(DAYS)


def hold_reason(request: HoldRequest, departures: Departures, chosen: Departure | None) -> Reason:
    """Return when to ship and why, or why not at all."""
    allowed = departures.open()
    if not allowed:
        codes = {code for departure in departures.all for code in departure.blocked_by}
        text = f"Every date is blocked: each is {' or '.join(why for code, why in BLOCKED.items() if code in codes)}."
        return Reason(text, text)
    if chosen is None:
        return _none(request, departures, allowed)
    first = departures.first[chosen.route]
    lead = _now(request, departures, chosen) if chosen is first else _later(request, departures, chosen, first)
    more = [
        _promise(request, chosen),
        *_tempting(request, departures, chosen),
        *_other_route(request, departures, chosen),
    ]
    return Reason(lead, " ".join([lead, *more]))


def _none(request: HoldRequest, departures: Departures, allowed: Sequence[Departure]) -> Reason:
    best = max(allowed, key=lambda departure: departure.margin_mean)
    if best.margin_mean < 0:
        lead = (
            f"Do not order at these prices: even on {best.ship_date} by {best.route} the margin averages "
            f"{money(best.margin_mean, request.currency)}."
        )
        return Reason(lead, lead)
    safest = max(allowed, key=lambda departure: departure.chance_loss_within_limit)
    lead = (
        f"No date keeps the loss within {bearable(request)} with {percent(request.risk.confidence)} chance and earns "
        f"money: the least bad, {safest.ship_date} by {safest.route}, keeps it with "
        f"{percent_short_of(safest.chance_loss_within_limit, request.risk.confidence)}, margin "
        f"{rough(safest.margin_mean, request.currency)}."
    )
    more = [_leaves(request, departures, safest, best)] if best is not safest else []
    more += [*_other_route(request, departures, safest)] if best.route == safest.route else []
    return Reason(lead, " ".join([lead, *more]))


def _now(request: HoldRequest, departures: Departures, chosen: Departure) -> str:
    """Return the lead where the first open date is as good as any, or no wait is worth its while."""
    own = departures.open(chosen.route)
    ship = f"ship on {chosen.ship_date} by {chosen.route}"
    if len(own) == 1:
        return f"{ship.capitalize()}: no other date is open."
    equal, avoid = _equal_and_worse(departures, chosen)
    every = [departure.ship_date for departure in own]
    if len(equal) == len(own):
        return f"All dates are equal: {ship}."
    if len(equal) > 1:
        lead = f"{in_words((d.ship_date for d in equal), every)} are equal: {ship}"
    else:
        lead = f"{ship.capitalize()}: no later date is better"
    return f"{lead}{_avoid(request, avoid, chosen, every)}."


def _later(request: HoldRequest, departures: Departures, chosen: Departure, first: Departure) -> str:
    """Return the lead where waiting helps."""
    hold = f"Hold until {chosen.ship_date} and ship by {chosen.route}"
    gain = chosen.margin_mean - first.margin_mean
    equal, avoid = _equal_and_worse(departures, chosen)
    every = [departure.ship_date for departure in departures.open(chosen.route)]
    if gain <= 0 or first.chance_loss_within_limit < request.risk.confidence:
        why = (
            f"only then does the loss stay within {bearable(request)} as surely as wanted, "
            f"{percent(chosen.chance_loss_within_limit)} against {percent(first.chance_loss_within_limit)} on "
            f"{first.ship_date}"
        )
    else:
        why = (
            f"{rough(gain, request.currency)} more on average than on {first.ship_date}, better with "
            f"{percent(chance_better(chosen.margin, first.margin))} chance, and "
            f"{more_or_less(chosen.worst - first.worst, request.currency)} in the worst 1 in 20"
        )
    same = f"; {in_words((d.ship_date for d in equal), every)} are equal" if len(equal) > 1 else ""
    later = [departure for departure in avoid if departure.ship_date > chosen.ship_date]
    return f"{hold}: {why}{same}{_avoid(request, later, chosen, every)}."


def _equal_and_worse(departures: Departures, chosen: Departure) -> tuple[list[Departure], list[Departure]]:
    """Return the open dates of the chosen route in its group, and those in groups after it."""
    number = departures.group_of(chosen) or 1
    equal: list[Departure] = []
    worse: list[Departure] = []
    for departure, group in zip(departures.all, departures.group, strict=True):
        if departure.route == chosen.route and group is not None and group >= number:
            (equal if group == number else worse).append(departure)
    return equal, worse


def _avoid(request: HoldRequest, avoid: Sequence[Departure], chosen: Departure, every: Sequence[date]) -> str:
    if not avoid:
        return ""
    most = max(chosen.margin_mean - departure.margin_mean for departure in avoid)
    up_to = "" if len(avoid) == 1 else "up to "
    less = f" ({up_to}{rough(most, request.currency)} less on average)" if most >= NO_DIFFERENCE else ""
    return f"; avoid {in_words((d.ship_date for d in avoid), every)}{less}"


def _promise(request: HoldRequest, chosen: Departure) -> str:
    sent = sum(line.quantity for line in request.lines)
    healthy = half_up(float(np.mean(chosen.two_weeks)), 0)
    return (
        f"{healthy} of {sent:,} plants are expected to be healthy two weeks on, the margin "
        f"averages {money(chosen.margin_mean, request.currency)}, and the loss stays within {bearable(request)} with "
        f"{percent(chosen.chance_loss_within_limit)} chance."
    )


def _tempting(request: HoldRequest, departures: Departures, chosen: Departure) -> list[str]:
    """Return why a date with a higher mean margin is not waited for, where there is one beyond noise."""
    own = departures.open(chosen.route)
    best = max(own, key=lambda departure: departure.margin_mean)
    if departures.equal(best, chosen):
        return []
    gain = rough(best.margin_mean - chosen.margin_mean, request.currency)
    if best.chance_loss_within_limit < request.risk.confidence:
        chance = percent_short_of(best.chance_loss_within_limit, request.risk.confidence)
        but = f"keeps the loss only with {chance} chance"
    else:
        but = f"would beat {chosen.ship_date} only with {percent(chance_better(best.margin, chosen.margin))} chance"
    return [f"{best.ship_date} averages {gain} more, but {but}."]


def _other_route(request: HoldRequest, departures: Departures, chosen: Departure) -> list[str]:
    """Return what the best of the other routes would cost and save."""
    others = [departure for departure in departures.open() if departure.route != chosen.route]
    if not others:
        return []
    return [_leaves(request, departures, chosen, max(others, key=lambda departure: departure.margin_mean))]


def _leaves(request: HoldRequest, departures: Departures, chosen: Departure, other: Departure) -> str:
    """Return what another departure leaves beside one, on average and in a bad case."""
    gap = more_or_less(other.margin_mean - chosen.margin_mean, request.currency)
    bad = more_or_less(other.worst - chosen.worst, request.currency)
    average = f"is about equal on average ({gap})" if departures.equal(other, chosen) else f"leaves {gap} on average"
    return f"Shipping by {other.route} on {other.ship_date} {average}, and {bad} in the worst 1 in 20."


def in_words(days: Iterable[date], every: Sequence[date]) -> str:
    """Return some of the open days in words: by weekday where that tells them from the others, else by date."""
    named = sorted(set(days))
    weekdays = {day.weekday() for day in named}
    if weekdays.isdisjoint(day.weekday() for day in every if day not in named):
        return listed([name for run in _weekday_runs(weekdays) for name in _span([DAYS[i] for i in run])])
    runs = _date_runs(named, sorted(set(every)))
    said = [name for run in runs[:MOST_RUNS] for name in _span([str(day) for day in run])]
    if left := sum(len(run) for run in runs[MOST_RUNS:]):
        said.append(f"{left} more days")
    return listed(said)


def _span(names: Sequence[str]) -> list[str]:
    """Return a run by its ends; two stand each for themselves."""
    return [f"{names[0]} to {names[-1]}"] if names[1:-1] else list(names)


def _weekday_runs(weekdays: set[int]) -> list[list[int]]:
    """Return weekdays in runs; one over the end of the week is whole."""
    if len(weekdays) == A_WEEK:
        return [list(range(A_WEEK))]
    starts = [day for day in sorted(weekdays) if (day - 1) % A_WEEK not in weekdays]
    runs = []
    for start in starts:
        run = [start]
        while (run[-1] + 1) % A_WEEK in weekdays:
            run.append((run[-1] + 1) % A_WEEK)
        runs.append(run)
    return runs


def _date_runs(days: Sequence[date], every: Sequence[date]) -> list[list[date]]:
    """Return days in runs of which none of the open days is left out."""
    position = {day: i for i, day in enumerate(every)}
    runs: list[list[date]] = []
    for day in days:
        if runs and position[day] == position[runs[-1][-1]] + 1 and day - runs[-1][-1] <= timedelta(days=A_WEEK):
            runs[-1].append(day)
        else:
            runs.append([day])
    return runs
