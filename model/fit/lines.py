"""Lines of boxes as one table, a structured array, and the observations that are made of it.

The table is what the estimator takes as X: it can be split by rows, so it works in scikit-learn's cross-validation.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.exposure import CHILL_NODES, Q10_NODES, Array, ExposureTable, Indices
from model.fit.observations import Observations
from model.plant import KINDS, Level, Plant, log_time_ratio
from model.reference import Reference

# `genus` is the accepted name, or as written where the table has none; `quarter` is 4 x year + quarter, -1 unknown;
# `consignment` names what boxes packed by a seller on one day have in common, None unknown.
LINE_DTYPE = np.dtype(
    [
        ("shipment", "O"),
        ("genus", "O"),
        ("cultivar", "O"),
        ("container", "O"),
        ("roots", "O"),
        ("service", "O"),
        ("seller_kind", "O"),
        ("seller", "O"),
        ("quarter", "i4"),
        ("consignment", "O"),
        ("log_days", "f8", (Q10_NODES, CHILL_NODES)),
        ("log_days_variance", "f8", (Q10_NODES, CHILL_NODES)),
    ]
)
Lines = NDArray[Any]
# Effects that only a fit has: what boxes of one consignment share. With more consignments of several boxes than this,
# boxes are taken as independent: each would be a parameter.
CONSIGNMENT = "consignment"
MOST_CONSIGNMENTS = 200


def plant_of(line: Any, reference: Reference) -> Plant:
    """Return the plant of one line."""
    genus = reference.genera.get(line["genus"])
    quarter = int(line["quarter"])
    return Plant(
        genus,
        line["cultivar"],
        line["container"],
        line["roots"],
        line["service"],
        line["seller_kind"],
        line["seller"],
        quarter if quarter >= 0 else None,
    )


class Observed(NamedTuple):
    """A table of lines as it is fitted and scored, box by box.

    Attributes
    ----------
    observations : Observations
    order : (lines,)
        The row of the table that each line is.
    plants : tuple of Plant
        Of each line.
    """

    observations: Observations
    order: Indices
    plants: tuple[Plant, ...]

    def of_boxes(self, boxes: Indices) -> "Observed":
        """Return some boxes, ascending, as if the table had no others."""
        rows = self.observations.rows_of(boxes)
        own = self.observations.take_boxes(boxes).without_unused_levels()
        return Observed(own, self.order[rows], tuple(self.plants[row] for row in rows.tolist()))


def observe(lines: Lines, counts: Array, reference: Reference) -> Observed:
    """Return a table's boxes by name.

    Parameters
    ----------
    lines : (lines,) of `LINE_DTYPE`
    counts : (lines, 4)
        Healthy, damaged, dead, sent; NaN where unknown.
    """
    shipments, box = np.unique(np.array([str(s) for s in lines["shipment"]]), return_inverse=True)
    order = np.argsort(box, kind="stable")
    lines, counts, box = lines[order], counts[order], box[order]
    levels: dict[str, tuple[Level, ...]] = {}
    codes: dict[str, Indices] = {}
    plants = [plant_of(line, reference) for line in lines]
    effects = [plant.levels for plant in plants]
    unnamed = np.array([not plant.seller_level for plant in plants], dtype=bool)
    unknown = np.array([plant.genus is None for plant in plants], dtype=bool)
    drawn = {"seller": unnamed, "group": unknown, "genus": unknown, "cultivar": unknown}
    for kind in KINDS:
        open_rows = drawn.get(kind, np.zeros(len(plants), dtype=bool))
        named = [None if open_ else own[kind] for own, open_ in zip(effects, open_rows, strict=True)]
        levels[kind] = tuple(sorted({name for name in named if name is not None}, key=repr))
        index = {name: i for i, name in enumerate(levels[kind])}
        codes[kind] = np.array([-1 if name is None else index[name] for name in named], dtype=np.intp)
    levels[CONSIGNMENT], codes[CONSIGNMENT] = _consignments(lines, box)
    ratios = {plant: log_time_ratio(plant, reference) for plant in set(plants)}
    observations = Observations(
        box=box.astype(np.intp),
        healthy=counts[:, 0],
        damaged=counts[:, 1],
        dead=counts[:, 2],
        sent=counts[:, 3],
        levels=levels,
        codes=codes,
        log_time_ratio=np.array([ratios[plant] for plant in plants]),
        exposure=ExposureTable(lines["log_days"], lines["log_days_variance"]),
        unnamed_seller=unnamed,
        unknown_genus=unknown,
    )
    assert observations.n_boxes == len(shipments)  # noqa: S101 - every box has a line
    return Observed(observations, order, tuple(plants))


def _consignments(lines: Lines, box: Indices) -> tuple[tuple[Level, ...], Indices]:
    """Return the consignments of several boxes, and which of them each line belongs to, -1: none; (lines,)."""
    boxes: dict[str, set[int]] = {}
    names = [str(name) if name else None for name in lines[CONSIGNMENT]]
    for name, number in zip(names, box.tolist(), strict=True):
        if name is not None:
            boxes.setdefault(name, set()).add(number)
    shared = sorted(name for name, own in boxes.items() if len(own) > 1)
    if len(shared) > MOST_CONSIGNMENTS:
        shared = []
    index = {name: i for i, name in enumerate(shared)}
    codes = np.array([index.get(name, -1) if name is not None else -1 for name in names], dtype=np.intp)
    return tuple(shared), codes
