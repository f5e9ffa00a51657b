"""The reference lists, row by row."""

from collections import defaultdict
from dataclasses import asdict

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
            iata=row.iata,
            city=row.city,
            country=row.country,
            lat=row.lat,
            lon=row.lon,
            elev_m=row.elev_m,
            time_zone=row.time_zone,
            tmin_c=row.tmin_c.tolist(),
            tmax_c=row.tmax_c.tolist(),
            source=row.source,
            status=row.status,
        )
        for row in engine.reference.places.values()
    ]


def services(engine: Engine) -> list[ServiceRow]:
    """Return every service with its legs."""
    reference = engine.reference
    return [
        ServiceRow(
            service=row.service,
            name=row.name,
            transit_days=TransitQuantiles(p10=row.p10_days, p50=row.p50_days, p90=row.p90_days),
            min_days=row.min_days,
            delay_kind=row.delay_kind,
            delay_share=row.delay_share,
            delay_leg=row.delay_leg,
            delivers_weekend=row.delivers_weekend,
            papers_delay_days=row.papers_delay_days,
            freight_low=row.freight_low,
            freight_high=row.freight_high,
            freight_currency=row.freight_currency,
            source=row.source,
            status=row.status,
            legs=[
                LegRow(
                    leg=leg.leg,
                    share=leg.share,
                    place=leg.place,
                    hold_c=leg.hold_c,
                    shelter=leg.shelter,
                    source=leg.source,
                    status=leg.status,
                )
                for leg in reference.legs[row.service]
            ],
        )
        for row in reference.services.values()
    ]
