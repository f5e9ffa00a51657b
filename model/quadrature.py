"""Averages over normal effects by nodes, and even random numbers.

Gauss-Hermite nodes are for what is nearly a polynomial, even nodes for chances.

exp(-exp(x)) falls from 1 to 0 within a step or two, so beside a wide effect no polynomial follows it: with an sd of 2,
nine Gauss-Hermite nodes err by 6e-3, ten even ones by 6e-4. The trapezoidal rule converges geometrically for functions
that are analytic beside the real axis (Trefethen & Weideman 2014, SIAM Review 56:385).
"""

from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

Array = NDArray[np.float64]
Values = TypeVar("Values", NDArray[np.float32], NDArray[np.uint16])

# The standard normal's 90 % point: half of a central 80 % range.
SCORE_P90 = float(ndtri(0.9))
# Even nodes reach so many sds to both sides; beside an effect of sd s steps of 1.4 / s, and of 1.1 at most, will do.
REACH, NODES_A_UNIT, WIDEST_STEP = 3.05, 1.4, 1.1
# A narrow effect needs fewer.
SMALL_SD, SMALL_REACH, FEWEST_NODES = 0.7, 2.5, 5
FAR_REACH, MANY_NODES = 6.0, 49


@cache
def normal_nodes(n: int) -> tuple[Array, Array]:
    """Return nodes and weights, (n,) each, that average a function of a standard normal variable."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(n)
    return nodes, weights / weights.sum()


def even_nodes(sd: float) -> tuple[Array, Array]:
    """Return evenly spaced nodes and weights, (n,) each, to average a chance over a normal effect of this sd.

    For E exp(-exp(x + sd z)) they err by at most 1e-3 whatever x, for any sd up to 4; n grows with sd, from 5 to 19.
    """
    if sd <= SMALL_SD:
        return _even_nodes(FEWEST_NODES, SMALL_REACH)
    return _even_nodes(1 + int(np.ceil(2.0 * REACH * max(sd / NODES_A_UNIT, 1.0 / WIDEST_STEP))), REACH)


@cache
def _even_nodes(n: int, reach: float) -> tuple[Array, Array]:
    nodes = np.linspace(-reach, reach, n)
    weights = np.exp(-0.5 * nodes**2)
    return nodes, weights / weights.sum()


def marginal_survival(log_hazard: Array, sd: Array | float, *, n_nodes: int | None = None) -> Array:
    """Return E exp(-exp(log_hazard + sd z)), z standard normal.

    Parameters
    ----------
    log_hazard, sd : broadcastable
        Log cumulative hazard without the effects, and their common standard deviation.
    n_nodes : int, optional
        So many Gauss-Hermite nodes; unless given, 49 even ones, which err by less than 1e-5 for sd up to 3.5.
    """
    nodes, weights = _even_nodes(MANY_NODES, FAR_REACH) if n_nodes is None else normal_nodes(n_nodes)
    total = np.zeros(np.broadcast_shapes(np.shape(log_hazard), np.shape(sd)))
    for node, weight in zip(nodes, weights, strict=True):
        total += weight * np.exp(-np.exp(log_hazard + sd * node))
    return total


# So many rows of a Latin hypercube are rotations of one order.
_ROTATED = 8


def latin_hypercube(values: Values, n_rows: int, *, rng: np.random.Generator) -> Values:
    """Return n_rows rows of the same values, each in an order of its own, (n_rows, n).

    With values that are one in each of n equally likely parts this is a Latin hypercube (McKay, Beckman & Conover 1979,
    Technometrics 21:239). Up to eight rows are rotations of one random order by different random steps, so any two
    of them pair values at random, and cost a tenth of an order.
    """
    n = len(values)
    rows = np.empty((n_rows, n), dtype=values.dtype)
    together = min(_ROTATED, n)
    for first in range(0, n_rows, together):
        order = np.concatenate([rng.permutation(values)] * 2)
        steps = rng.choice(n, together, replace=False, shuffle=False)
        for row, step in zip(rows[first : first + together], rng.permutation(steps), strict=False):
            row[:] = order[step : step + n]
    return rows
