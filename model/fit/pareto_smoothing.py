"""Pareto-smoothed importance weights (Vehtari, Simpson, Gelman, Yao & Gabry 2024)."""

import numpy as np
from numpy.typing import NDArray
from scipy import special

Array = NDArray[np.float64]

LEAST_TAIL = 5
# With a heavier tail an average over the weights is rough: Vehtari et al., as above.
MOST_PARETO_K = 0.7
PRIOR_SHAPES = 10.0


def fit_pareto(excess: Array) -> tuple[float, float]:
    """Return shape k and scale of a generalised Pareto distribution fitted to sorted positive excesses.

    Empirical Bayes estimate of Zhang & Stephens (2009, Technometrics 51:316), k drawn towards 0.5 as by Vehtari et al.
    """
    n = len(excess)
    grid = 30 + int(np.sqrt(n))
    b = 1.0 - np.sqrt(grid / (np.arange(1, grid + 1) - 0.5))
    b = b / (3.0 * excess[int(n / 4 + 0.5) - 1]) + 1.0 / excess[-1]
    k = np.log1p(-b[:, None] * excess).mean(axis=1)
    log_likelihood = n * (np.log(-b / k) - k - 1.0)
    weights = special.softmax(log_likelihood)
    b_mean = float(weights @ b)
    shape = float(np.log1p(-b_mean * excess).mean())
    scale = -shape / b_mean
    return (n * shape + PRIOR_SHAPES * 0.5) / (n + PRIOR_SHAPES), scale


def smooth_log_weights(log_weights: Array) -> tuple[Array, float]:
    """Return normalised log weights with the largest replaced by quantiles of a Pareto tail, and its shape k.

    Parameters
    ----------
    log_weights : (draws,)
        Unnormalised; -inf for draws that are not valid.
    """
    finite = np.isfinite(log_weights)
    n = int(finite.sum())
    if n == 0:
        raise FloatingPointError("no draw has a finite weight")
    smoothed = log_weights - log_weights[finite].max()
    tail = int(np.ceil(min(0.2 * n, 3.0 * np.sqrt(n))))
    shape = np.inf
    if tail >= LEAST_TAIL:
        order = np.argsort(np.where(finite, smoothed, -np.inf))[-tail:]
        cut = np.sort(smoothed[finite])[-tail - 1] if n > tail else smoothed[finite].min()
        excess = np.exp(smoothed[order]) - np.exp(cut)
        if excess[0] >= 0 and excess[-1] > 0 and excess[int(tail / 4 + 0.5) - 1] > 0:
            shape, scale = fit_pareto(excess)
            u = (np.arange(1, tail + 1) - 0.5) / tail
            quantiles = scale * np.expm1(-shape * np.log1p(-u)) / shape
            smoothed[order] = np.minimum(np.log(quantiles + np.exp(cut)), 0.0)
    return smoothed - special.logsumexp(smoothed), float(shape)


def effective_draws(log_weights: Array) -> float:
    """Return the effective number of draws, from log weights (draws,) that need not be normalised."""
    weights = special.softmax(log_weights)
    return 1.0 / float((weights**2).sum())


def log_mean(log_weights: Array) -> float:
    """Return the log of the mean weight, from log weights (draws,)."""
    return float(special.logsumexp(log_weights) - np.log(len(log_weights)))
