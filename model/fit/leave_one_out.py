"""What the other boxes say of each box, from one set of draws: importance sampling leave-one-out.

A draw given all boxes counts for the posterior without one of them as much as 1 / p(that box | draw); the largest
weights are Pareto-smoothed (Vehtari, Gelman & Gabry 2017, Statistics and Computing 27:1413). No fit is made again.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.pareto_smoothing import MOST_PARETO_K, smooth_log_weights

Array = NDArray[np.float64]


class LeftOut(NamedTuple):
    """Weights of the draws for each box without its own counts.

    Attributes
    ----------
    log_weights : (draws, boxes)
        Normalised for each box.
    pareto_k : (boxes,)
        0 for boxes that the draws have not seen.
    """

    log_weights: Array
    pareto_k: Array

    @property
    def rough(self) -> NDArray[np.bool_]:
        """Of which boxes the average over the weights is rough, (boxes,): they pull the fit about."""
        return self.pareto_k > MOST_PARETO_K

    def log_mean(self, log_p: Array) -> Array:
        """Return the log predictive probability, (boxes,), of anything whose log probability under each draw is known.

        Parameters
        ----------
        log_p : (draws, boxes)
        """
        total: Array = special.logsumexp(self.log_weights + log_p, axis=0)
        return total

    def of(self, boxes: NDArray[np.intp]) -> "LeftOut":
        """Return the weights for some boxes, in the order given and as often as they stand there."""
        return LeftOut(self.log_weights[:, boxes], self.pareto_k[boxes])


def leave_one_out(log_p: Array, seen: NDArray[np.bool_]) -> LeftOut:
    """Return the weights of the draws for each box.

    Parameters
    ----------
    log_p : (draws, boxes)
        Log probability of each box's counts under each draw, as the fit saw them.
    seen : (boxes,)
        Whether the draws were fitted to the box; those that have not seen it count alike.
    """
    n_draws, n_boxes = log_p.shape
    log_weights = np.full((n_draws, n_boxes), -np.log(n_draws))
    pareto_k = np.zeros(n_boxes)
    for box in np.flatnonzero(seen):
        log_weights[:, box], pareto_k[box] = smooth_log_weights(-log_p[:, box])
    return LeftOut(log_weights, pareto_k)
