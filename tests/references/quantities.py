"""The quantities of a fit that are compared with the reference, by the reference's names."""

import numpy as np

from model.exposure.table import Array
from model.fit.hierarchy import OUTER
from model.fit.inference import Posterior
from model.plant.effects import LEARNED_SCALES


def parameters(posterior: Posterior) -> dict[str, Array]:
    """Return the draws of common parameters and log scales, (draws,) each."""
    x, theta = posterior.x, posterior.theta
    draws = dict(zip(("alpha", "kappa", "delta"), x[:, :3].T, strict=True))
    draws["log_q10"] = np.log1p(np.exp(theta[:, OUTER.index("q10_less_one")]))
    return draws | {f"log_{name}": theta[:, OUTER.index(name)] for name in (*LEARNED_SCALES, "chill_rate", "h0")}
