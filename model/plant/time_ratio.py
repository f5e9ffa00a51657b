"""The tables' time ratio of a plant as it is packed."""

from functools import lru_cache

import numpy as np

from model.plant.plant import Plant
from model.reference import ARID_GROUPS, Reference


def log_time_ratio(plant: Plant, reference: Reference) -> float:
    """Return log TR0: the product of the tables' time ratios against the reference aroid in foam box and damp wrap."""
    roots = reference.roots[plant.roots]
    genus = float(np.log(plant.genus.time_ratio)) if plant.genus else unknown_genus(reference)[0]
    arid = plant.genus is not None and plant.genus.group in ARID_GROUPS
    packing = reference.containers[plant.container].time_ratio * (roots.arid_time_ratio if arid else roots.time_ratio)
    kind = reference.seller_kinds[plant.seller_kind].time_ratio if plant.seller_kind else 1.0
    return genus + float(np.log(packing * kind))


@lru_cache(maxsize=4)
def unknown_genus(reference: Reference) -> tuple[float, float]:
    """Return mean and sd of the log time ratio of a genus of the trade picked at random."""
    logs = np.log([row.time_ratio for row in reference.genera.values()])
    own = np.array([row.time_ratio_sd_log for row in reference.genera.values()])
    return float(logs.mean()), float(np.sqrt(logs.var() + (own**2).mean()))
