"""How far answers rest on the prior and how far on the boxes: power scaling of a posterior's draws.

The prior, or the likelihood, is raised to powers somewhat below and above 1; the draws are weighed anew for that,
Pareto-smoothed, and it is looked at how far the distribution of a quantity moves (Kallioinen, Paananen, Buerkner &
Vehtari 2024, "Detecting and diagnosing prior and likelihood sensitivity with power-scaling", Statistics and Computing
34:57). No fit is made again.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.pareto_smoothing import MOST_PARETO_K, smooth_log_weights

Array = NDArray[np.float64]

# Those that the paper uses throughout.
POWERS = (0.8, 1.25)
# A quantity that moves as far is sensitive, by the rule of thumb of the paper: as far as a normal whose mean moves by
# about so many sds for twice the weight.
SENSITIVE, FELT_SHIFT = 0.05, 0.3


class PowerScaled(NamedTuple):
    """Weights of the draws with one part of the posterior raised to each of `POWERS`.

    Attributes
    ----------
    log_weights : (powers, draws)
        Normalised and smoothed.
    pareto_k : float
        The larger of the two.
    """

    log_weights: Array
    pareto_k: float

    @property
    def rough(self) -> bool:
        """Whether the weights are too uneven to tell anything."""
        return self.pareto_k > MOST_PARETO_K


def power_scaled(log_weights: Array, log_ratios: Array) -> PowerScaled:
    """Return the weights of draws of a scaled posterior.

    Parameters
    ----------
    log_weights : (draws,)
        Of the draws as they are.
    log_ratios : (powers, draws)
        Log of the scaled posterior over the posterior for each of `POWERS`, but for a constant; draws where it is not
        finite count for nothing.
    """
    scaled, shapes = np.empty_like(log_ratios), []
    for row, ratio in enumerate(log_ratios):
        scaled[row], shape = smooth_log_weights(np.where(np.isfinite(ratio), log_weights + ratio, -np.inf))
        shapes.append(shape)
    return PowerScaled(scaled, max(shapes))


def likelihood_ratios(log_likelihood: Array) -> Array:
    """Return the log ratios of a likelihood raised to each of `POWERS`, (powers, draws), from that of each draw."""
    ratios: Array = (np.array(POWERS)[:, None] - 1.0) * log_likelihood
    return ratios


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
        for power, own in zip(POWERS, scaled.log_weights, strict=True)
    ]
    return float(np.mean(far))


def mean_shift(values: Array, log_weights: Array, scaled: PowerScaled) -> float:
    """Return how far the mean of a quantity moves for twice the weight of what is scaled, in its sds; 0 if it has none.

    Parameters as in `sensitivity`.
    """
    weights = np.exp(log_weights)
    mean = weights @ values
    sd = float(np.sqrt(weights @ (values - mean) ** 2))
    moved = [
        (np.exp(own) @ values - mean) / np.log2(power) for power, own in zip(POWERS, scaled.log_weights, strict=True)
    ]
    return float(np.mean(moved)) / sd if sd > 0 else 0.0
