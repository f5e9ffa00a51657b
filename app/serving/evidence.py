"""What the chances of a request's plants rest on: boxes, plants, and the weight of boxes against rules of thumb."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from app.serving.engine import Engine
from model.plant import Plant
from model.predict import Terms

Array = NDArray[np.float64]

NO_EVIDENCE = b'{"shipments":0,"plants":0,"weight":0.0}'


def evidence_as_json(engine: Engine, plants: Sequence[Plant], index: NDArray[np.intp], clock: Array) -> list[bytes]:
    """Return the evidence of each query as JSON.

    Parameters
    ----------
    engine : Engine
    plants : sequence of Plant
        Each plant of the request once.
    index : (queries,)
        Which of them a query is about.
    clock : (queries,)
        log(D / 7) - log TR0, D the equivalent days at the median of the draws.
    """
    counts = engine.counts
    if counts is None:
        return [NO_EVIDENCE] * len(index)
    weights = [0.0] * len(index)
    if engine.fit is not None:  # boxes after it are counted; their weight is known once it is fitted again
        terms = engine.fit.variance.terms(plants)
        of_query = Terms(terms.columns[index], terms.loadings[index], terms.rest[index])
        weights = engine.fit.variance.weights(of_query, clock).tolist()
    behind = [b'{"shipments":%d,"plants":%d,"weight":' % counts.of_plant(plant) for plant in plants]
    return [b"%b%b}" % (behind[i], repr(weight).encode()) for i, weight in zip(index.tolist(), weights, strict=True)]
