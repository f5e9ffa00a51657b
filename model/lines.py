"""Lines of boxes as one table, a structured array, and the observations that are made of it.

The table is what the estimator takes as X: it can be split by rows, so it works in scikit-learn's cross-validation.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.observations import (
    CHILL_NODES,
    KINDS,
    Q10_NODES,
    Array,
    ExposureTable,
    Indices,
    Observations,
)
from model.predict import Level, Plant, log_time_ratio
from model.reference import REFERENCE_CONTAINER, REFERENCE_GROUP, REFERENCE_ROOTS, Reference

# `genus` is the accepted name, or as written where the table has none; `quarter` is 4 x year + quarter, -1 unknown.
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
        ("log_days", "f8", (Q10_NODES, CHILL_NODES)),
        ("log_days_variance", "f8", (Q10_NODES, CHILL_NODES)),
    ]
)
Lines = NDArray[Any]


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


def _level_of(kind: str) -> Callable[[Any, Reference], Level | None]:
    """Return how a line names its level of a kind of effect; None is the reference level, which has no effect."""

    def group(line: Any, reference: Reference) -> Level | None:
        genus = reference.genera.get(line["genus"])
        return ("" if genus is None else genus.group) if genus is None or genus.group != REFERENCE_GROUP else None

    def genus(line: Any, reference: Reference) -> Level | None:
        return str(line["genus"]) if line["genus"] in reference.genera else ""

    def cultivar(line: Any, reference: Reference) -> Level | None:
        name = str(genus(line, reference))
        return f"{name} {line['cultivar'].casefold()}" if name and line["cultivar"] else name

    def packing(reference_level: str) -> Callable[[Any, Reference], Level | None]:
        return lambda line, _: line[kind] if line[kind] != reference_level else None

    def seller(line: Any, _: Reference) -> Level | None:
        return line["seller"].casefold() if line["seller"] else ""

    def drift(line: Any, reference: Reference) -> Level | None:
        name = str(seller(line, reference))
        return (name, int(line["quarter"])) if name and line["quarter"] >= 0 else None

    known: dict[str, Callable[[Any, Reference], Level | None]] = {
        "group": group,
        "genus": genus,
        "cultivar": cultivar,
        "container": packing(REFERENCE_CONTAINER),
        "roots": packing(REFERENCE_ROOTS),
        "seller": seller,
        "drift": drift,
    }
    return known.get(kind, lambda line, _: line[kind] or "")


def observe(lines: Lines, counts: Array, reference: Reference) -> tuple[Observations, Indices]:
    """Return the observations of a table, and the order in which they hold its rows.

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
    for kind in KINDS:
        level_of = _level_of(kind)
        named = [level_of(line, reference) for line in lines]
        levels[kind] = tuple(sorted({name for name in named if name is not None}, key=repr))
        index = {name: i for i, name in enumerate(levels[kind])}
        codes[kind] = np.array([-1 if name is None else index[name] for name in named], dtype=np.intp)
    ratios: dict[Plant, float] = {}
    log_ratio = np.empty(len(lines))
    for i, line in enumerate(lines):
        plant = plant_of(line, reference)
        if plant not in ratios:
            ratios[plant] = log_time_ratio(plant, reference)
        log_ratio[i] = ratios[plant]
    observations = Observations(
        box=box.astype(np.intp),
        healthy=counts[:, 0],
        damaged=counts[:, 1],
        dead=counts[:, 2],
        sent=counts[:, 3],
        levels=levels,
        codes=codes,
        log_time_ratio=log_ratio,
        exposure=ExposureTable(lines["log_days"], lines["log_days_variance"]),
    )
    assert observations.n_boxes == len(shipments)  # noqa: S101 - every box has a line
    return observations, order
