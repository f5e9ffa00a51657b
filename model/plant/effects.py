"""Prior sd of an effect on the linear predictor, for every kind: tabulated, fixed, or learned as a scale.

    genus              multiplier x 3.3 x the tabulated sd of its log time ratio
    container, roots   3.3 x the tabulated sd of their log time ratio
    cultivar, seller, drift   a learned scale
    group, service, seller_kind   a row of prior_scales.csv

Shipment and line effects have a learned scale too; they have no levels.

Deviations from tabulated time ratios (genus, container, roots) are Student's t with few degrees of freedom, whose
middle 80 % are those of a normal with the tabulated sd: a row that contradicts the boxes is given up fast, where a
normal would pull ever harder (O'Hagan 1979, JRSS B 41:358). All other effects are normal.
"""

from collections.abc import Mapping
from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import special

from model.plant.plant import Level
from model.plant.time_ratio import unknown_genus
from model.quadrature import SCORE_P90
from model.reference import CONSTANTS, REFERENCE_GROUP, Reference

Array = NDArray[np.float64]
Scale = TypeVar("Scale", float, Array)

# Converts a tabulated sd of log time into the scale of the linear predictor; fixed, so that learning kappa leaves it.
REFERENCE_KAPPA = CONSTANTS.reference_kappa
LEARNED_SCALES = ("genus_multiplier", "cultivar", "seller", "drift", "shipment", "line")
# The learned scale that multiplies a kind's sds.
SCALE_OF_KIND = {"genus": "genus_multiplier", "cultivar": "cultivar", "seller": "seller", "drift": "drift"}

# Kinds whose effect is the deviation from a tabulated time ratio; Student's t with so many degrees of freedom.
TABULATED_KINDS = ("genus", "container", "roots")
DEGREES = CONSTANTS.deviation_degrees
# Of the Student's scale to the sd of the normal with the same middle 80 %. Averages over many effects take that normal
# in its place: its variance, not the Student's, gives the averages of shares.
STUDENT_SCALE = float(SCORE_P90 / special.stdtrit(DEGREES, 0.9))


def deviations(kind: str, normals: Array) -> Array:
    """Return deviations of a kind for an sd of 1, (n,), from standard normals: as they are, or as Student's t."""
    if kind not in TABULATED_KINDS:
        return normals
    student = STUDENT_SCALE * special.stdtrit(DEGREES, special.ndtr(normals))
    return np.asarray(student, dtype=np.float64)


def unit_sd(kind: str, level: Level, reference: Reference) -> float:
    """Return the prior sd of a level of a kind, where it is learned for a scale of 1.

    A genus that the tables do not know is one of the trade picked at random; the reference packing has no effect: 0.
    """
    if kind == "genus":
        genus = reference.genera.get(str(level))
        return REFERENCE_KAPPA * (genus.time_ratio_sd_log if genus else unknown_genus(reference)[1])
    if kind == "container":
        return REFERENCE_KAPPA * reference.containers[str(level)].time_ratio_sd_log
    if kind == "roots":
        return REFERENCE_KAPPA * reference.roots[str(level)].time_ratio_sd_log
    return 1.0 if kind in SCALE_OF_KIND else reference.prior_scales[kind].median


def prior_sd(kind: str, level: Level, scales: Mapping[str, Scale], reference: Reference) -> Scale | float:
    """Return the prior sd of a level of a kind for learned scales: scalars, or draws (draws,)."""
    unit, scale = unit_sd(kind, level, reference), SCALE_OF_KIND.get(kind)
    return unit if scale is None else scales[scale] * unit


def total_spread(scales: Mapping[str, Array], reference: Reference) -> Array:
    """Return s: the sd of the linear predictor over everything a rule of thumb leaves unnamed.

    That is genera of the reference group, cultivars, services, sellers of any kind and their drift, boxes and lines.
    """
    variance = scales["genus_multiplier"] ** 2 * _genus_variance(reference)
    for name in ("cultivar", "seller", "drift", "shipment", "line"):
        variance = variance + scales[name] ** 2
    for name in ("service", "seller_kind"):
        variance = variance + reference.prior_scales[name].median ** 2
    spread: Array = np.sqrt(variance)
    return spread


@lru_cache(maxsize=4)
def _genus_variance(reference: Reference) -> float:
    """Return the mean variance of the effects of the reference group's genera, for a multiplier of 1."""
    own = [row.time_ratio_sd_log for row in reference.genera.values() if row.group == REFERENCE_GROUP]
    return REFERENCE_KAPPA**2 * float(np.mean(np.square(own)))
