"""The reference tables: CSV rows with source and status, and typed access to them.

To change a judged number of the model, or one that sets when something is said of a record, a seller or a candidate,
change its row here; no other room holds one.
"""

from model.reference.constants import CONSTANTS
from model.reference.readings import COLDEST_C, WARMEST_C
from model.reference.row_types import Genus, LateLossRule, Leg, Place, Rule, Service, Weather
from model.reference.rows import HIGH, LOW, QUANTILES, STATUSES
from model.reference.tables import (
    ARID_GROUPS,
    REFERENCE_CONTAINER,
    REFERENCE_GROUP,
    REFERENCE_ROOTS,
    Reference,
    load_reference,
)

__all__ = [
    "ARID_GROUPS",
    "COLDEST_C",
    "CONSTANTS",
    "HIGH",
    "LOW",
    "QUANTILES",
    "REFERENCE_CONTAINER",
    "REFERENCE_GROUP",
    "REFERENCE_ROOTS",
    "STATUSES",
    "WARMEST_C",
    "Genus",
    "LateLossRule",
    "Leg",
    "Place",
    "Reference",
    "Rule",
    "Service",
    "Weather",
    "load_reference",
]
