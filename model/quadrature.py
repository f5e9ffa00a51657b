"""Averages over normal effects by Gauss-Hermite quadrature."""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

Array = NDArray[np.float64]

# The standard normal's 90 % point: half of a central 80 % range.
SCORE_P90 = float(ndtri(0.9))


@cache
def normal_nodes(n: int) -> tuple[Array, Array]:
    """Return nodes and weights, (n,) each, that average a function of a standard normal variable."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(n)
    return nodes, weights / weights.sum()


def marginal_survival(log_hazard: Array, sd: Array | float, *, n_nodes: int = 21) -> Array:
    """Return E exp(-exp(log_hazard + sd z)), z standard normal.

    Parameters
    ----------
    log_hazard, sd : broadcastable
        Log cumulative hazard without the effects, and their common standard deviation.
    n_nodes : int
        21 nodes err by less than 1e-4 for sd up to 1.5.
    """
    nodes, weights = normal_nodes(n_nodes)
    total = np.zeros(np.broadcast_shapes(np.shape(log_hazard), np.shape(sd)))
    for node, weight in zip(nodes, weights, strict=True):
        total += weight * np.exp(-np.exp(log_hazard + sd * node))
    return total
