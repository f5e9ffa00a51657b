"""Boxes that came after a fit: its draws weighed by what they say of those boxes, and drawn anew by their weights.

The weights are importance weights of the posterior with the boxes against the one without (Vehtari, Simpson, Gelman,
Yao & Gabry 2024, Pareto smoothed importance sampling, JMLR 25). They cost one likelihood a draw instead of a fit, and
say themselves when that is too little: `Reweighted.is_enough`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.fit.box_predictive import box_log_likelihoods
from model.fit.lines import Observed
from model.fit.pareto_smoothing import MOST_PARETO_K, smooth_log_weights
from model.fit.strangers import replace_unnamed
from model.fit.strays import RATES
from model.plant import KINDS, Level
from model.predict import PosteriorDraws, with_levels

Array = NDArray[np.float64]

# Fewer effective draws are no answer.
LEAST_EFFECTIVE = 100.0


@dataclass(frozen=True, slots=True, eq=False)
class Reweighted:
    """What boxes that came later make of a posterior's draws.

    Attributes
    ----------
    log_weights : (draws,)
        Normalised and smoothed.
    effective : float
        Effective number of draws; copies of one weighted draw count as one.
    pareto_k : float
    levels : mapping of kind to tuple of levels
        Levels of the boxes that are effects of the model; those without data before are learned of now.
    """

    log_weights: Array
    effective: float
    pareto_k: float
    levels: Mapping[str, tuple[Level, ...]]

    @property
    def is_enough(self) -> bool:
        """Whether the weighted draws may answer."""
        return not self.too_few and self.pareto_k <= MOST_PARETO_K

    @property
    def too_few(self) -> bool:
        """Whether too few draws count."""
        return self.effective < LEAST_EFFECTIVE

    def index(self, key: int, n: int) -> NDArray[np.intp]:
        """Return which of the weighed draws stands in each of n places, (n,), by systematic resampling.

        A draw that is kept stays where it is, if that is one of the places, and copies fill the others: what the boxes
        do not bear on changes as little as it can. The same key gives the same index.
        """
        rng = np.random.default_rng([key, crc32(b"later boxes")])
        ends = np.floor(np.cumsum(np.exp(self.log_weights)) * n + rng.random()).astype(int)
        copies = np.diff(np.minimum(ends, n), prepend=0)
        copies[np.argmax(copies)] += n - int(copies.sum())  # what rounding left over
        index = np.arange(n)
        kept = copies[:n] > 0
        copies[:n] -= kept
        index[~kept] = rng.permutation(np.repeat(np.arange(len(copies)), copies))
        return index


def reweight(observed: Observed, draws: PosteriorDraws) -> Reweighted:
    """Weigh draws by the likelihood of boxes that they have not seen, shipment and line effects integrated.

    As in the fit, a box may be lost whole, and its record wrong. About 3e-6 s of one core for each draw and line.

    An unnamed seller is another one in each box, and an unknown genus in each line, as in a fit.
    """
    levels = {kind: observed.observations.levels[kind] for kind in KINDS}
    log_p = box_log_likelihoods(replace_unnamed(observed), with_levels(draws, levels), wrong=RATES, for_weights=True)
    log_weights = log_p.sum(axis=1)
    log_weights, pareto_k = smooth_log_weights(log_weights)
    # The draws of a fit are copies of fewer weighted ones.
    which = np.unique(draws.parameters.alpha, return_inverse=True)[1]
    together = np.bincount(which, weights=special.softmax(log_weights))
    effective = float(1.0 / (together**2).sum())
    return Reweighted(log_weights, effective, pareto_k, levels)
