"""How much work one call for risk may be: ten thousand journeys through seasonal weather take minutes."""

from collections.abc import Hashable, Sequence

import numpy as np

from app.problems import MOST_SECONDS, TooMuchWork
from app.risk.exposure import journey_key
from app.schemas import DailyTemperature, LaneTemperature, RiskQuery
from model.plant import Plant

# Seconds of one core, measured on a small server that was busy otherwise: of a query; of a journey through outside air
# day by day or through the weather of a lane, and of each of its hours; of each of its hours for a genus.
PER_QUERY = 5e-5
PER_JOURNEY: dict[type, float] = {DailyTemperature: 0.5e-3, LaneTemperature: 0.5e-3}
PER_HOUR: dict[type, float] = {DailyTemperature: 8e-6, LaneTemperature: 4e-6}
PER_GENUS_HOUR = 4e-6
# A heat pack may freeze: then each genus is followed hour by hour along a lane.
PER_PACKED_JOURNEY, PER_PACKED_HOUR = 2.2e-3, 29e-6


def journey_seconds(query: RiskQuery) -> float:
    """Return what following the journey of a query takes, whose temperature is not constant."""
    kind = type(query.temperature)
    return PER_JOURNEY[kind] + PER_HOUR[kind] * 24.0 * query.transit_days


def genus_seconds(query: RiskQuery) -> float:
    """Return what adding up the damage to a genus on that journey takes."""
    hours = 24.0 * query.transit_days
    if query.heat_packs and type(query.temperature) is LaneTemperature:
        return PER_PACKED_JOURNEY + PER_PACKED_HOUR * hours
    return PER_GENUS_HOUR * hours


def check_work(queries: Sequence[RiskQuery], changing: Sequence[int], plants: Sequence[Plant]) -> None:
    """Refuse queries that take too long together; journeys that several share count once.

    `changing` are those whose temperature is not constant.

    Raises
    ------
    TooMuchWork
        With the number of queries, in their order, that would do.
    """
    taken = np.full(len(queries), PER_QUERY)
    journeys: set[Hashable] = set()
    known: set[Hashable] = set()
    for i in changing:
        query = queries[i]
        journey = journey_key(query)
        if journey not in journeys:
            journeys.add(journey)
            taken[i] += journey_seconds(query)
        genus = (journey, plants[i].genus)
        if genus not in known:
            known.add(genus)
            taken[i] += genus_seconds(query)
    fitting = int(np.searchsorted(np.cumsum(taken), MOST_SECONDS, side="right"))
    if fitting < len(queries):
        raise TooMuchWork(
            "/queries",
            f"would take about {taken.sum():.1f} seconds, and at most {MOST_SECONDS:g} are allowed: send the first"
            f" {fitting:,} queries, and the others in calls of their own",
        )
