"""Risk measures of a route, and the choice between routes.

Arrays of posterior predictive draws in, plain numbers out; the draw axis comes first.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


SUMMED_UP = (0.05, 0.5, 0.95)


class Summary(NamedTuple):
    """Mean and 5 %, 50 %, 95 % quantiles of draws."""

    mean: float
    p05: float
    p50: float
    p95: float


def summarise(draws: ArrayLike, *, counts: bool | None = None) -> Summary:
    """Mean and quantiles of draws, shape (draws,).

    Quantiles of counts are counts (inverse of the empirical distribution function); those of anything else are
    interpolated linearly. `counts` says which; left out, an array of integers holds counts.
    """
    values = np.asarray(draws)
    return Summary(float(values.mean()), *quantiles(values, SUMMED_UP, counts=counts).tolist())


def quantiles(draws: ArrayLike, levels: Sequence[float], *, counts: bool | None = None) -> FloatArray:
    """Quantiles of draws, shape (draws,), as `summarise` takes them; shape (levels,).

    The same as `numpy.quantile`, in a fifth of its time: few different counts are counted, other draws are sorted once.
    """
    values = np.asarray(draws)
    whole = np.issubdtype(values.dtype, np.integer) if counts is None else counts
    if whole:
        # Of the draws in ascending order, the first whose rank is at least its level.
        at = np.maximum(np.ceil(np.asarray(levels) * values.size - 1.0), 0.0).astype(np.intp)
        if np.issubdtype(values.dtype, np.integer) and values.min() >= 0 and values.max() < values.size:
            return np.searchsorted(np.cumsum(np.bincount(values)), at, side="right").astype(np.float64)
        return np.sort(values)[at].astype(np.float64)
    ranks = np.asarray(levels) * (values.size - 1)
    at = ranks.astype(np.intp)
    ascending = np.sort(values).astype(np.float64)
    low, high = ascending[at], ascending[np.minimum(at + 1, values.size - 1)]
    part, gap = ranks - at, high - low
    # From the nearer of both, so that rounding never passes the farther.
    return np.where(2.0 * part < 1.0, low + gap * part, high - gap * (1.0 - part))


def worst_share_mean(draws: ArrayLike, share: float = 0.05) -> float:
    """Mean of the lowest `share` of draws, shape (draws,): the expected shortfall of a margin.

    When `share` of the draws is not a whole number, the last draw counts with the fraction left.
    """
    values = np.asarray(draws, dtype=np.float64)
    wanted = share * values.size
    whole = min(int(wanted), values.size - 1)
    lowest = np.partition(values, whole)
    return float((lowest[:whole].sum() + (wanted - whole) * lowest[whole]) / wanted)


def chance_loss_within_limit(dead: ArrayLike, sent: int, max_loss_share: float) -> float:
    """Chance that the lost share, dead / sent, is at most the bearable one; `dead` of the batch, shape (draws,)."""
    # A quotient of whole numbers is the float nearest to it, as is a limit written in decimals: 29 of 100 is within
    # 0.29. The product 0.29 * 100 falls short of 29.
    return float(np.mean(np.asarray(dead) / sent <= max_loss_share))


def chance_best(margins: ArrayLike) -> FloatArray:
    """Chance of each route to have the best margin, shape (routes,), from margins of shape (draws, routes).

    Routes that tie in a draw share it equally, so the chances add to 1. Meant for common random numbers.
    """
    values = np.asarray(margins, dtype=np.float64)
    best = values == values.max(axis=1, keepdims=True)
    return np.asarray((best / best.sum(axis=1, keepdims=True)).mean(axis=0), dtype=np.float64)


def chance_better(later: ArrayLike, first: ArrayLike) -> float:
    """Chance that `later` beats `first`, draw by draw, both of shape (draws,); a tie counts half."""
    a, b = np.asarray(later, dtype=np.float64), np.asarray(first, dtype=np.float64)
    return float(np.mean((a > b) + 0.5 * (a == b)))


def cost_per_healthy_plant(landed_cost: float | Decimal, recovered: ArrayLike, healthy: ArrayLike) -> float | None:
    """Landed cost less mean recovery, per plant that is healthy on average; None when none ever is.

    `recovered` and `healthy` (plants of the batch) have shape (draws,). It is a ratio of means: the mean of the ratio
    does not exist once a draw has no healthy plant.
    """
    mean_healthy = float(np.asarray(healthy, dtype=np.float64).mean())
    if mean_healthy == 0.0:
        return None
    return (float(landed_cost) - float(np.asarray(recovered, dtype=np.float64).mean())) / mean_healthy


@dataclass(frozen=True)
class Choice:
    """The recommended route, or why there is none.

    Parameters
    ----------
    recommended : str or None
        Route to take.
    reason_code : str
        `best_within_limit`: best mean margin among the routes that keep the bearable loss;
        `do_not_order`: no route has a mean margin of at least 0, so not at these prices;
        `no_route_keeps_loss`: none keeps the bearable loss at the wanted confidence;
        `safe_routes_lose_money`: some keep it, but only others have a mean margin of at least 0.
    least_bad : str or None
        With `no_route_keeps_loss`, the route most likely to keep the bearable loss.
    """

    recommended: str | None
    reason_code: Literal["best_within_limit", "do_not_order", "no_route_keeps_loss", "safe_routes_lose_money"]
    least_bad: str | None = None


def choose_route(names: Sequence[str], margin_means: ArrayLike, chances_within: ArrayLike, confidence: float) -> Choice:
    """Route with the best mean margin among those that keep the bearable loss at the wanted confidence.

    `margin_means` and `chances_within` (see `chance_loss_within_limit`) have shape (routes,), as `names`. Of routes
    that tie, the one named first is taken.

    Raises
    ------
    ValueError
        Without routes.
    """
    means = np.asarray(margin_means, dtype=np.float64)
    chances = np.asarray(chances_within, dtype=np.float64)
    if means.max() < 0.0:
        return Choice(None, "do_not_order")
    keeps = chances >= confidence
    if not keeps.any():
        return Choice(None, "no_route_keeps_loss", names[int(chances.argmax())])
    best = int(np.where(keeps, means, -np.inf).argmax())
    if means[best] < 0.0:
        return Choice(None, "safe_routes_lose_money")
    return Choice(names[best], "best_within_limit")
