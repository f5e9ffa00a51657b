"""Typed, validated access to the reference tables: genera, packing, services, places, weather and rules of thumb."""

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache, lru_cache
from typing import TypeVar

import numpy as np

from model.reference.revision import MODEL_REVISION, fingerprint
from model.reference.row_types import (
    ChillClass,
    Container,
    CostRule,
    Genus,
    LateLossRule,
    Leg,
    Place,
    PriorScale,
    Roots,
    Rule,
    SellerKind,
    Service,
    Weather,
)
from model.reference.rows import ReferenceTableError, read_rows, tables_read, typed_rows

REFERENCE_GROUP = "aroid"
REFERENCE_CONTAINER = "foam_box"
REFERENCE_ROOTS = "damp_wrap"
ARID_GROUPS = frozenset({"succulent", "cactus"})


Row = TypeVar("Row")


def _keyed(table: str, row_type: type[Row], *keys: str) -> dict[str, Row]:
    rows: dict[str, Row] = {}
    for row in typed_rows(table, row_type):
        key = "/".join(getattr(row, k) for k in keys)
        if key in rows:
            raise ReferenceTableError(f"{table}.csv: {key} stands twice")
        rows[key] = row
    return rows


def _places() -> dict[str, Place]:
    places: dict[str, Place] = {}
    for row in read_rows("places"):
        tmin, tmax = (np.array([float(row[f"{kind}_{m:02d}"]) for m in range(1, 13)]) for kind in ("tmin", "tmax"))
        if not (tmin < tmax).all():
            raise ReferenceTableError(f"places.csv: {row['iata']} has a minimum that is not below its maximum")
        text = {k: row[k] for k in ("iata", "city", "country", "time_zone", "regime", "source", "status")}
        places[row["iata"]] = Place(
            **text,
            lat=float(row["lat"]),
            lon=float(row["lon"]),
            elev_m=int(row["elev_m"]),
            tmin_c=tmin,
            tmax_c=tmax,
        )
    return places


@dataclass(frozen=True, eq=False)
class Reference:
    """All reference tables, keyed by code."""

    genera: Mapping[str, Genus]
    old_names: Mapping[str, str]
    containers: Mapping[str, Container]
    roots: Mapping[str, Roots]
    seller_kinds: Mapping[str, SellerKind]
    chill_classes: Mapping[str, ChillClass]
    services: Mapping[str, Service]
    legs: Mapping[str, tuple[Leg, ...]]
    weather: Mapping[str, Weather]
    places: Mapping[str, Place]
    rules: tuple[Rule, ...]
    late_loss_rules: tuple[LateLossRule, ...]
    prior_scales: Mapping[str, PriorScale]
    costs: Mapping[str, CostRule]

    @property
    def longest_rule_days(self) -> float:
        """Days of the longest rule of thumb; what lies beyond is carried on from there."""
        return max(rule.days for rule in self.rules)

    @property
    def fingerprint(self) -> str:
        """Eight hex digits that name the model: they change with any cell of any table and with the code's revision."""
        return fingerprint(tables_read(), MODEL_REVISION)

    def find_genus(self, name: str) -> tuple[Genus | None, str | None]:
        """Return (genus, None) for a known or old name, else (None, the nearest spelling or None)."""
        return _find_genus(self, name)


@cache
def load_reference() -> Reference:
    """Read and validate every table, once a process."""
    services = _keyed("services", Service, "service")
    legs = tuple(typed_rows("service_legs", Leg))
    by_service = {
        code: tuple(sorted((leg for leg in legs if leg.service == code), key=lambda leg: leg.order))
        for code in services
    }
    for code, own in by_service.items():
        if abs(sum(leg.share for leg in own) - 1) > 1e-9:  # noqa: PLR2004
            raise ReferenceTableError(f"service_legs.csv: shares of {code} do not add up to 1")
        if services[code].delay_leg not in {leg.leg for leg in own}:
            raise ReferenceTableError(f"services.csv: {code} has no leg {services[code].delay_leg}")
    return Reference(
        genera=_keyed("genera", Genus, "genus"),
        old_names={row["name"].casefold(): row["accepted"] for row in read_rows("genus_names")},
        containers=_keyed("containers", Container, "container"),
        roots=_keyed("roots", Roots, "roots"),
        seller_kinds=_keyed("seller_kinds", SellerKind, "seller_kind"),
        chill_classes=_keyed("chill_classes", ChillClass, "chill_class"),
        services=services,
        legs=by_service,
        weather=_keyed("weather", Weather, "regime"),
        places=_places(),
        rules=tuple(typed_rows("rules", Rule)),
        late_loss_rules=tuple(typed_rows("late_loss_rules", LateLossRule)),
        prior_scales=_keyed("prior_scales", PriorScale, "name"),
        costs=_keyed("costs", CostRule, "cost", "currency"),
    )


@cache
def _folded_genera(reference: Reference) -> dict[str, str]:
    folded = {name.casefold(): name for name in reference.genera}
    return {**reference.old_names, **folded}


@lru_cache(maxsize=4096)
def _find_genus(reference: Reference, name: str) -> tuple[Genus | None, str | None]:
    known = _folded_genera(reference)
    key = " ".join(name.casefold().split())
    if key in known:
        return reference.genera[known[key]], None
    near = get_close_matches(key, known, n=1, cutoff=0.7)
    return None, known[near[0]] if near else None
