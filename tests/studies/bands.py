"""Simultaneous bands of the empirical distribution of ranks (Sailynoja, Buerkner & Vehtari 2022, Statistics and
Computing 32:32): at each of a grid of points the count below is binomial, and the smallest of its two-sided tail
probabilities over the grid has a distribution that is found by simulation.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Array = NDArray[np.float64]

# Ranks among 255 draws have 256 values.
N_VALUES = 256
SIMULATIONS = 100_000
AT_ONCE = 5_000


class RankBand:
    """The band for n independent ranks, each uniform on 0 to `N_VALUES` - 1."""

    def __init__(self, n: int, *, rng: np.random.Generator, simulations: int = SIMULATIONS) -> None:
        self.n = n
        points = np.arange(1, N_VALUES) / N_VALUES
        count = np.arange(n + 1)[:, None]
        below, above = stats.binom.cdf(count, n, points), stats.binom.sf(count - 1, n, points)
        self._tail = 2.0 * np.minimum(below, above)  # (n + 1, points)
        parts = []
        for start in range(0, simulations, AT_ONCE):
            size = min(AT_ONCE, simulations - start)
            drawn = rng.multinomial(n, np.full(N_VALUES, 1.0 / N_VALUES), size=size)
            parts.append(self._smallest(np.cumsum(drawn, axis=1)[:, :-1]))
        self._simulated = np.sort(np.concatenate(parts))

    def _smallest(self, counts: NDArray[np.int64]) -> Array:
        """Return the smallest tail probability of counts below each point, (samples, points) -> (samples,)."""
        smallest: Array = self._tail[counts, np.arange(N_VALUES - 1)].min(axis=-1)
        return smallest

    def level(self, false_alarm: float) -> float:
        """Return gamma: the pointwise level at which the whole band is left with probability `false_alarm`."""
        return float(np.quantile(self._simulated, false_alarm))

    def p_value(self, ranks: NDArray[np.int64]) -> float:
        """Return how often uniform ranks leave their band as far as these, (n,) whole numbers below `N_VALUES`."""
        counts = np.cumsum(np.bincount(ranks, minlength=N_VALUES))[:-1]
        as_far = np.searchsorted(self._simulated, self._smallest(counts[None])[0] * (1.0 + 1e-12), side="right")
        return float((as_far + 1.0) / (len(self._simulated) + 1.0))


def rank(truth: float, draws: Array, *, rng: np.random.Generator) -> int:
    """Return how many draws lie below the truth, ties broken at random."""
    ties = int((draws == truth).sum())
    return int((draws < truth).sum()) + int(rng.integers(ties + 1))


def randomised_pit(count: float, simulated: Array, *, rng: np.random.Generator) -> float:
    """Return the randomised probability integral transform of a count under simulated counts, above 0, below 1."""
    return (rank(count, simulated, rng=rng) + float(rng.random())) / (len(simulated) + 1.0)
