"""What was found against the same as a model would have it come again: posterior predictive checks.

What is replicated was fitted to what was found, so tail probabilities lie nearer the middle than uniform ones do, and
fewer than one in twenty is extreme where the model is right (Meng 1994, Annals of Statistics 22:1142).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Of the replicates that lie further out, on either side.
EXTREME = 0.025


class Check(NamedTuple):
    """A number that was found, and where replicates of it lie.

    Attributes
    ----------
    found : float
    low, high : float
        The middle 95 % of the replicates.
    below : float
        Share of the replicates below it, with half of those equal to it.
    """

    found: float
    low: float
    high: float
    below: float

    @property
    def is_extreme(self) -> bool:
        """Whether it lies outside the middle 95 %."""
        return is_extreme(self.below)


def is_extreme(below: float) -> bool:
    """Whether a share of replicates below what was found is so small, or so large, that it lies outside the middle."""
    return not EXTREME <= below <= 1.0 - EXTREME


def predictive_check(found: float, replicated: Array) -> Check:
    """Return where a number lies among its replicates, (draws,)."""
    low, high = np.quantile(replicated, [EXTREME, 1.0 - EXTREME])
    # Sums of the same counts in another order may differ by rounding.
    equal = np.isclose(replicated, found, rtol=1e-12, atol=1e-12)
    below = float(((replicated < found) & ~equal).mean() + 0.5 * equal.mean())
    return Check(found, float(low), float(high), below)
