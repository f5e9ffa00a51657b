"""Draws of a route summed up for an answer: quantiles, equally likely shipments, the air in the box day by day."""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from app.comparing.simulation import RouteDraws
from app.schemas import Distribution, InsideDay, MoneyItem
from model.decision import LandedCost, Summary, quantiles, summarise
from model.reference import CONSTANTS

STRIP = 20
DAY_H = 24
INSIDE_LEVELS = (0.05, 0.5, 0.95)


def distribution(draws: np.ndarray) -> Distribution:
    """Return mean and quantiles of draws, (draws,)."""
    return answered(summarise(draws))


def answered(summary: Summary) -> Distribution:
    """Return mean and quantiles as they are answered."""
    return Distribution(**summary._asdict())


def money_items(cost: LandedCost) -> list[MoneyItem]:
    """Return the items of a landed cost as they are answered."""
    return [MoneyItem(code=item.code, text=item.text, amount=float(item.amount)) for item in cost.items]


def strip(counts: NDArray[np.integer]) -> list[int]:
    """Return 20 equally likely outcomes of a drawn count, (draws,), in ascending order."""
    levels = (np.arange(STRIP) + 0.5) / STRIP
    return [int(n) for n in quantiles(counts, levels.tolist())]


def inside_by_day(drawn: RouteDraws) -> list[InsideDay]:
    """Return quantiles of the air in the box over the hours of each day since closing."""
    day = drawn.inside_hour // DAY_H
    by_day = np.argsort(day, kind="stable")
    inside, starts = drawn.inside_c[by_day], np.searchsorted(day[by_day], np.arange(day.max() + 2))
    days = []
    for i, (start, stop) in enumerate(pairwise(starts.tolist())):
        under_way = float(np.mean(drawn.days > i))
        if under_way < CONSTANTS.least_under_way_share:
            break
        p05, p50, p95 = quantiles(inside[start:stop], INSIDE_LEVELS)
        days.append(InsideDay(day=i + 1, p05=p05, p50=p50, p95=p95, under_way=under_way))
    return days
