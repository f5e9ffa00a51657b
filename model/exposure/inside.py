"""Air in the boxes of many journeys from the air outside, hour by hour, in single precision.

An hour is linear in what was before, so many hours are one product with a small matrix. Only a heat pack that may
freeze is not: then hours are stepped one by one. Both ways agree to the rounding of single precision.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from model.exposure.box import PACK_FREEZES_C, Box, mean_weight

Array = NDArray[np.float64]
SingleArray = NDArray[np.float32]

# Hours of one product: its matrix is small enough that linear algebra keeps to one thread, so that the calls of a
# server and the threads of one call do not wait for each other.
HOURS_AT_ONCE = 16


class InsideAir:
    """Air in one kind of box over so many hours; each box starts at its first outside air."""

    def __init__(self, box: Box, hours: int) -> None:
        self._decay, self._mean_weight = box.decay(), mean_weight(box.time_constant_h)
        self._warming, self._cooling = (rise.astype(np.float32) for rise in box.rises_c(hours))

    def follow(self, outside_c: SingleArray, duration_h: SingleArray) -> tuple[SingleArray, NDArray[np.bool_]]:
        """Return the mean inside of each hour, (hours, n), and the boxes, (n,), whose heat pack did not freeze.

        Parameters
        ----------
        outside_c : (1 + hours, n)
            From row 1 on the outside air of each hour. It is overwritten.
        duration_h : (n,)
            When each box is opened: a pack that freezes later did not.
        """
        hours, n = len(outside_c) - 1, outside_c.shape[1]
        steady = outside_c[1:]
        outside_c[0] = steady[0]
        steady += (self._warming[:hours] + self._cooling[:hours])[:, None]
        # Air that starts above freezing and is drawn to air above it stays there.
        if self._warming[0] > 0 and min(outside_c[0].min(), steady.min()) <= PACK_FREEZES_C:
            return self._stepped(outside_c, duration_h)
        return self._multiplied(outside_c), np.ones(n, dtype=bool)

    def _multiplied(self, start_and_steady: SingleArray) -> SingleArray:
        """Return the means by products of `HOURS_AT_ONCE` hours; the row before them is the air at their start."""
        hours = len(start_and_steady) - 1
        matrix = _matrix(self._decay, self._mean_weight)
        mean = np.empty_like(start_and_steady)
        for start in range(0, hours, HOURS_AT_ONCE):
            stop = min(start + HOURS_AT_ONCE, hours)
            rows = stop - start + (stop < hours)
            np.matmul(
                matrix[:rows, : stop - start + 1], start_and_steady[start : stop + 1], out=mean[start : start + rows]
            )
            if stop < hours:
                start_and_steady[stop] = mean[stop]
        return mean[:hours]

    def _stepped(self, start_and_steady: SingleArray, duration_h: SingleArray) -> tuple[SingleArray, NDArray[np.bool_]]:
        """Return the means hour by hour; a heat pack stops for good when it freezes."""
        now, steady = start_and_steady[0], start_and_steady[1:]
        decay, weight = np.float32(self._decay), np.float32(self._mean_weight)
        working = np.ones(len(now), dtype=bool)
        for hour in range(len(steady)):
            if self._warming[hour] > 0:
                working &= (now > PACK_FREEZES_C) | (duration_h <= hour)
                steady[hour] -= self._warming[hour] * ~working
            gap = now - steady[hour]
            now = steady[hour] + gap * decay
            steady[hour] += gap * weight
        return steady, working


@lru_cache(maxsize=64)
def hour_steps(decay: float) -> tuple[Array, Array]:
    """Return what the air at each hour's start takes from the hours before it, and what it keeps of the first start.

    Shapes (1 + HOURS_AT_ONCE, HOURS_AT_ONCE) and (1 + HOURS_AT_ONCE,): the last row is the end of the last hour.
    """
    after = np.arange(HOURS_AT_ONCE + 1)
    since = after[:, None] - 1 - after[None, :-1]
    taken: Array = np.where(since >= 0, (1.0 - decay) * decay ** np.maximum(since, 0), 0.0)
    kept: Array = np.power(decay, after, dtype=np.float64)
    return taken, kept


@lru_cache(maxsize=64)
def _matrix(decay: float, weight: float) -> SingleArray:
    """Return what takes air at the start and steady air of each hour to each hour's mean, and in the last row its end.

    Shape (1 + HOURS_AT_ONCE, 1 + HOURS_AT_ONCE). Rows for fewer hours are its first.
    """
    n = HOURS_AT_ONCE
    taken, kept = hour_steps(decay)
    starts = np.column_stack([kept, taken])
    means = weight * starts[:n] + (1.0 - weight) * np.eye(n, n + 1, 1)
    matrix: SingleArray = np.vstack([means, starts[n]]).astype(np.float32)
    matrix.flags.writeable = False
    return matrix
