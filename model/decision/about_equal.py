"""When the margins of two ways to send a batch are about equal, and which of such ways is the safer."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.decision.decision import worst_share_mean

FloatArray = NDArray[np.float64]

STANDARD_ERRORS = 2.0


def noise(gap: ArrayLike, *, orders: int, least: float) -> float:
    """Up to which mean difference of two margins is about nothing.

    Parameters
    ----------
    gap : array_like, shape (draws,)
        Differences of the margins, paired by draw.
    orders : int
        A difference that would not show in so many orders like this one is lost in their luck: two standard errors of
        its mean over them, or over the draws where these are fewer, so it is never within the simulation's own error.
    least : float
        An amount that is small beside what is at stake.

    Returns
    -------
    float
        At least `least`.
    """
    values = np.asarray(gap, dtype=np.float64)
    return max(STANDARD_ERRORS * float(values.std() / np.sqrt(min(orders, values.size))), least)


def about_equal(one: ArrayLike, other: ArrayLike, *, orders: int, least: float) -> bool:
    """Whether two margins, (draws,) and paired by draw, differ on average by no more than `noise`."""
    gap = np.asarray(one, dtype=np.float64) - np.asarray(other, dtype=np.float64)
    return abs(float(gap.mean())) <= noise(gap, orders=orders, least=least)


def safer_of_equals(
    margins: Sequence[ArrayLike], best: int, allowed: Sequence[int], *, orders: int, least: float
) -> int:
    """Which way to take when others are about equal to the one with the best mean margin.

    Parameters
    ----------
    margins : sequence of array_like, shape (draws,) each
        Margin of each way, paired by draw.
    best : int
        Position of the best mean margin among the allowed.
    allowed : sequence of int
        Positions of those that may be taken.
    orders, least
        As in `noise`.

    Returns
    -------
    int
        Of the allowed ones about equal to the best, that with the best mean of its worst 1 in 20, if it spares more
        there than it costs on average; else `best`.
    """
    draws = [np.asarray(margin, dtype=np.float64) for margin in margins]

    def spared(way: int) -> float:
        lost = float(draws[best].mean() - draws[way].mean())
        return worst_share_mean(draws[way]) - worst_share_mean(draws[best]) - lost

    equal = [
        way
        for way in allowed
        if way != best and about_equal(draws[way], draws[best], orders=orders, least=least) and spared(way) > 0
    ]
    return max(equal, key=lambda way: worst_share_mean(draws[way]), default=best)
