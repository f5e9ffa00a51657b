"""What a fit leaves for its answers: boxes and plants of each level, variances before and after the boxes."""

import numpy as np
from numpy.typing import NDArray

from model.fit.hierarchy import ALPHA, DELTA, FIRST_EFFECT, KAPPA, Hierarchy
from model.fit.inference import Posterior
from model.fit.lines import CONSIGNMENT
from model.fit.observations import Observations
from model.plant import KINDS
from model.predict import BoxCounts, Counts, FitVariance, LevelCounts
from model.reference import Reference


def fit_variance(posterior: Posterior, hierarchy: Hierarchy, reference: Reference) -> FitVariance:
    """Return the variances of (alpha, kappa, effects) at the mode of theta, before and after the boxes."""
    theta = posterior.mode_theta
    prior = hierarchy.inner(theta)
    common = np.linalg.inv(prior.common)
    # Without delta and what consignments shared, which no answer asks for.
    kept = np.delete(np.arange(hierarchy.slices[CONSIGNMENT].start), DELTA)
    return FitVariance(
        levels={kind: hierarchy.levels[kind] for kind in KINDS},
        prior_variance=np.concatenate(
            [np.diag(common), 1.0 / prior.weights(posterior.mode_x)[FIRST_EFFECT : kept[-1] + 1]]
        ),
        prior_covariance=float(common[ALPHA, KAPPA]),
        posterior=posterior.covariance[np.ix_(kept, kept)].astype(np.float32),
        scales={name: float(scale) for name, scale in hierarchy.scales(theta).items()},
        reference=reference,
    )


def count_boxes(observations: Observations) -> BoxCounts:
    """Count the boxes and plants of a ledger."""
    box, sent = observations.box, observations.sent.astype(np.int64)
    genus, seller = observations.codes["genus"], observations.codes["seller"]
    n_sellers = max(len(observations.levels["seller"]), 1)
    both = (genus >= 0) & (seller >= 0)
    named, pair = np.unique((genus * n_sellers + seller)[both], return_inverse=True)
    return BoxCounts(
        n_boxes=observations.n_boxes,
        n_plants=int(sent.sum()),
        levels={kind: observations.levels[kind] for kind in KINDS},
        by_level={
            kind: _counted(observations.codes[kind], box, sent, len(observations.levels[kind])) for kind in KINDS
        },
        genus=np.asarray(named // n_sellers, dtype=np.int64),
        seller=np.asarray(named % n_sellers, dtype=np.int64),
        pairs=_counted(pair, box[both], sent[both], len(named)),
    )


def _counted(codes: NDArray[np.integer], box: NDArray[np.integer], sent: Counts, n: int) -> LevelCounts:
    named = codes >= 0
    plants = np.zeros(n, dtype=np.int64)
    np.add.at(plants, codes[named], sent[named])
    once = np.unique(np.stack([codes[named], box[named]]), axis=1)[0]
    return LevelCounts(np.bincount(once, minlength=n).astype(np.int64), plants)
