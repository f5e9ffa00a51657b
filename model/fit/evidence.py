"""Boxes and plants behind each level of a ledger, and behind each pair of genus and seller."""

import numpy as np
from numpy.typing import NDArray

from model.fit.observations import Observations
from model.plant import KINDS
from model.predict import BoxCounts, Counts, LevelCounts


def count_boxes(observations: Observations) -> BoxCounts:
    """Count the boxes and plants of a ledger."""
    box, sent = observations.box, observations.sent.astype(np.int64)
    genus, seller = observations.codes["genus"], observations.codes["seller"]
    n_sellers = max(len(observations.levels["seller"]), 1)
    named, pair = np.unique(genus * n_sellers + seller, return_inverse=True)
    return BoxCounts(
        n_boxes=observations.n_boxes,
        n_plants=int(sent.sum()),
        levels=observations.levels,
        by_level={
            kind: _counted(observations.codes[kind], box, sent, len(observations.levels[kind])) for kind in KINDS
        },
        genus=np.asarray(named // n_sellers, dtype=np.int64),
        seller=np.asarray(named % n_sellers, dtype=np.int64),
        pairs=_counted(pair, box, sent, len(named)),
    )


def _counted(codes: NDArray[np.integer], box: NDArray[np.integer], sent: Counts, n: int) -> LevelCounts:
    named = codes >= 0
    plants = np.zeros(n, dtype=np.int64)
    np.add.at(plants, codes[named], sent[named])
    once = np.unique(np.stack([codes[named], box[named]]), axis=1)[0]
    return LevelCounts(np.bincount(once, minlength=n).astype(np.int64), plants)
