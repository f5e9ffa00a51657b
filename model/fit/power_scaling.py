"""How far answers rest on the prior and how far on the boxes: power scaling of a posterior's draws.

The prior, or the likelihood, is raised to powers somewhat below and above 1; the draws are weighed anew for that,
Pareto-smoothed, and it is looked at how far the distribution of a quantity moves (Kallioinen, Paananen, Buerkner &
Vehtari 2024, "Detecting and diagnosing prior and likelihood sensitivity with power-scaling", Statistics and Computing
34:57). No fit is made again.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.pareto_smoothing import MOST_PARETO_K, smooth_log_weights

Array = NDArray[np.float64]

# Below 1 and above, as in the paper; where their weights are too uneven, as of many boxes, milder ones.
POWERS = ((0.8, 1.25), (0.9, 1 / 0.9), (0.95, 1 / 0.95))
# A quantity that moves as far is sensitive, by the rule of thumb of the paper: as far as a normal whose mean moves by
# about so many sds for twice the weight.
SENSITIVE, FELT_SHIFT = 0.05, 0.3


# Log of the posterior scaled by a power over the posterior, but for a constant, (draws,).
LogRatio = Callable[[float], Array]


class PowerScaled(NamedTuple):
    """Weights of the draws with one part of the posterior raised to powers.

    Attributes
    ----------
    powers : (float, float)
    log_weights : (2, draws)
        Normalised and smoothed.
    pareto_k : float
        The larger of the two.
    """

    powers: tuple[float, float]
    log_weights: Array
    pareto_k: float

    @property
    def rough(self) -> bool:
        """Whether the weights are too uneven to tell anything."""
        return self.pareto_k > MOST_PARETO_K


def power_scaled(log_weights: Array, log_ratio: LogRatio) -> PowerScaled:
    """Return the weights of draws of a scaled posterior, by the first of `POWERS` whose weights are even enough.

    Parameters
    ----------
    log_weights : (draws,)
        Of the draws as they are.
    log_ratio : callable
        Draws where it is not finite count for nothing.
    """
    for powers in POWERS:
        scaled, shapes = [], []
        for power in powers:
            ratio = log_ratio(power)
            own, shape = smooth_log_weights(np.where(np.isfinite(ratio), log_weights + ratio, -np.inf))
            scaled.append(own)
            shapes.append(shape)
        found = PowerScaled(powers, np.stack(scaled), max(shapes))
        if not found.rough:
            break
    return found


def cumulative_distance(values: Array, log_weights: Array, other: Array) -> float:
    """Return the cumulative Jensen-Shannon distance of two distributions of the same draws, 0 to 1.

    It is the root of the sum of the integrals of P log2(P / M) and Q log2(Q / M), M = (P + Q) / 2, over that of P + Q,
    where P and Q are the distribution functions; the larger of those of the quantity and of its negative (Nguyen &
    Vreeken 2015, ECML PKDD; Kallioinen et al., as above).

    Parameters
    ----------
    values : (draws,)
    log_weights, other : (draws,)
        Normalised weights under the two.
    """
    order = np.argsort(values, kind="stable")
    widths = np.diff(values[order])
    below = [np.cumsum(np.exp(weights[order]))[:-1] for weights in (log_weights, other)]
    first, second = (np.clip(side, 0.0, 1.0) for side in below)
    return max(_directed(first, second, widths), _directed(1.0 - first, 1.0 - second, widths))


def _directed(first: Array, second: Array, widths: Array) -> float:
    most = float((first + second) @ widths)
    if most <= 0:
        return 0.0
    middle = 0.5 * (first + second)
    apart = special.rel_entr(first, middle) + special.rel_entr(second, middle)
    return float(np.sqrt(max(float(apart @ widths), 0.0) / np.log(2.0) / most))


def sensitivity(values: Array, log_weights: Array, scaled: PowerScaled) -> float:
    """Return how far a quantity moves for twice the weight of what is scaled: the mean distance a unit of log2 power.

    Parameters
    ----------
    values : (draws,)
    log_weights : (draws,)
        Normalised weights of the draws as they are.
    scaled : PowerScaled
    """
    far = [
        cumulative_distance(values, log_weights, own) / abs(np.log2(power))
        for power, own in zip(scaled.powers, scaled.log_weights, strict=True)
    ]
    return float(np.mean(far))


def mean_shift(values: Array, log_weights: Array, scaled: PowerScaled) -> float:
    """Return how far the mean of a quantity moves for twice the weight of what is scaled, in its sds; 0 if it has none.

    Parameters as in `sensitivity`.
    """
    weights = np.exp(log_weights)
    mean = weights @ values
    sd = float(np.sqrt(weights @ (values - mean) ** 2))
    moved = [np.exp(own) @ values - mean for own in scaled.log_weights]
    return float(np.mean(moved / np.log2(scaled.powers))) / sd if sd > 0 else 0.0
