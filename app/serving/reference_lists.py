"""The reference lists, row by row."""

from collections import defaultdict
from collections.abc import Set
from dataclasses import asdict
from typing import Any

from pydantic import BaseModel

from app.schemas import ContainerRow, GenusRow, LegRow, PlaceRow, RootsRow, ServiceRow, TransitQuantiles
from app.serving.engine import Engine


def genera(engine: Engine) -> list[GenusRow]:
    """Return every genus with the old and trade names that are answered as it."""
    names = defaultdict(list)
    for name, accepted in engine.reference.old_names.items():
        names[accepted].append(name)
    return [
        GenusRow(
            **{**asdict(row), "cites": row.cites or None, "note": row.note or None},
            source=row.source,
            status=row.status,
            names=sorted(names[row.genus]),
        )
        for row in engine.reference.genera.values()
    ]


def packings(engine: Engine) -> list[ContainerRow | RootsRow]:
    """Return the containers on offer and the root treatments."""
    rows: list[ContainerRow | RootsRow] = []
    for container in engine.reference.containers.values():
        if container.offered:
            cells = asdict(container)
            for name in ("container", "offered"):
                cells.pop(name)
            rows.append(ContainerRow(code=container.container, **cells))
    for roots in engine.reference.roots.values():
        cells = asdict(roots)
        rows.append(RootsRow(code=cells.pop("roots"), **cells))
    return rows


def places(engine: Engine) -> list[PlaceRow]:
    """Return every place with its monthly normals."""
    return [
        PlaceRow(
            **_alike(PlaceRow, row, but={"tmin_c", "tmax_c"}), tmin_c=row.tmin_c.tolist(), tmax_c=row.tmax_c.tolist()
        )
        for row in engine.reference.places.values()
    ]


def services(engine: Engine) -> list[ServiceRow]:
    """Return every service with its legs."""
    reference = engine.reference
    return [
        ServiceRow(
            **_alike(ServiceRow, row, but={"transit_days", "legs"}),
            transit_days=TransitQuantiles(p10=row.p10_days, p50=row.p50_days, p90=row.p90_days),
            legs=[LegRow(**_alike(LegRow, leg)) for leg in reference.legs[row.service]],
        )
        for row in reference.services.values()
    ]


def _alike(answer: type[BaseModel], row: object, *, but: Set[str] = frozenset()) -> dict[str, Any]:
    """Return the fields of an answer that a row of a table has under the same names."""
    return {name: getattr(row, name) for name in answer.model_fields if name not in but}
