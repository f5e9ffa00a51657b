"""Dates on a route with what becomes of the batch on each, grouped by what cannot be told apart; which one to take."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.schemas import BlockedBy, DayWeather, HoldRequest
from model.decision import Summary, about_equal, chance_better, noise, safer_of_equals, worst_share_mean
from model.reference import CONSTANTS

ORDERS = CONSTANTS.equal_orders


@dataclass(frozen=True, slots=True, eq=False)
class Departure:
    """One date on one route.

    `margin` and `two_weeks`, the plants healthy two weeks on, are (draws,) and paired by draw with those of all other
    departures of the request; `waiting` is what the wait for it costs, which the margin counts.
    """

    ship_date: date
    route: str
    healthy: Summary
    two_weeks: NDArray[np.int32]
    margin: NDArray[np.float64]
    margin_mean: float
    landed_cost: float
    waiting: float
    chance_loss_within_limit: float
    blocked_by: list[BlockedBy]
    weather: list[DayWeather]

    @property
    def worst(self) -> float:
        """Mean margin of the worst 1 in 20 draws."""
        return worst_share_mean(self.margin)


class Departures(NamedTuple):
    """All departures of a request, by day, then in the order of the routes.

    `first` is the first open one of each route; `group` holds the group of each, None where it is blocked; `least` is
    an amount that is small beside what is at stake.
    """

    all: Sequence[Departure]
    first: dict[str, Departure]
    group: Sequence[int | None]
    least: float

    def open(self, route: str | None = None) -> list[Departure]:
        """Return those that are not blocked, of one route or of all."""
        return [d for d in self.all if not d.blocked_by and route in (None, d.route)]

    def group_of(self, departure: Departure) -> int | None:
        """Return the group of a departure."""
        return next(group for one, group in zip(self.all, self.group, strict=True) if one is departure)

    def equal(self, one: Departure, other: Departure) -> bool:
        """Whether the mean margins of two departures are about equal."""
        return about_equal(one.margin, other.margin, orders=ORDERS, least=self.least)

    def noise(self, one: Departure, other: Departure) -> float:
        """Return the mean difference of two margins up to which it is about nothing."""
        return noise(one.margin - other.margin, orders=ORDERS, least=self.least)


def departures_of(every: Sequence[Departure]) -> Departures:
    """Return departures with their groups.

    The best mean margin of a route opens its first group, which every date joins that is about equal to it, from the
    first of them on until waiting for a later one costs more than about nothing: that much is sure, however much luck
    hides it. The best of the others opens the next.
    """
    first: dict[str, Departure] = {}
    for departure in every:
        if not departure.blocked_by:
            first.setdefault(departure.route, departure)
    least = CONSTANTS.equal_cost_share * max(departure.landed_cost for departure in every)
    found = Departures(every, first, [None] * len(every), least)
    group: dict[int, int] = {}
    for route in first:
        rest, number = found.open(route), 0
        while rest:
            number += 1
            leader = max(rest, key=lambda departure: departure.margin_mean)
            joined = [departure for departure in rest if departure is leader or found.equal(departure, leader)]
            cheap = joined[0].waiting + least
            group |= {id(departure): number for departure in joined if departure.waiting <= cheap}
            rest = [departure for departure in rest if id(departure) not in group]
    return found._replace(group=[group.get(id(departure)) for departure in every])


def chosen_departure(request: HoldRequest, departures: Departures) -> Departure | None:
    """Return the departure to take: of each route the one to wait for, if any helps, and of these the best or safer.

    None where none keeps the bearable loss without losing money.
    """
    good = [
        departure
        for departure in departures.open()
        if departure.chance_loss_within_limit >= request.risk.confidence and departure.margin_mean >= 0
    ]
    if not good:
        return None
    routes = dict.fromkeys(departure.route for departure in good)
    taken = [_on_route([d for d in good if d.route == route], departures) for route in routes]
    best = max(range(len(taken)), key=lambda i: taken[i].margin_mean)
    margins = [departure.margin for departure in taken]
    return taken[safer_of_equals(margins, best, range(len(taken)), orders=ORDERS, least=departures.least)]


def _on_route(good: Sequence[Departure], departures: Departures) -> Departure:
    """Return the earliest of the dates about as good as the best; the first date of the route where waiting is no help.

    It helps where the mean margin is higher beyond noise and the later date wins often enough.
    """
    best = max(good, key=lambda departure: departure.margin_mean)
    as_good = [departure for departure in good if departure is best or departures.equal(departure, best)]
    first = departures.first[best.route]
    if not any(departure is first for departure in good):
        return as_good[0]
    return next((departure for departure in as_good if _helps(departure, first, departures)), first)


def _helps(later: Departure, first: Departure, departures: Departures) -> bool:
    return (
        not departures.equal(later, first)
        and later.margin_mean > first.margin_mean
        and chance_better(later.margin, first.margin) >= CONSTANTS.wait_helps_chance
    )
