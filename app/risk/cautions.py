"""Cautions of risk queries, written once for all queries that get the same."""

from collections.abc import Iterator, Sequence

import numpy as np
from pydantic_core import to_json

from app.batch import caution, resolve_genus, resolve_place
from app.risk.lines import Lines
from app.schemas import Caution, InsideTemperature, LaneTemperature, RiskQuery
from app.serving import Engine
from model.plant import Plant
from model.reference import CONSTANTS

COLDEST_C, WARMEST_C = CONSTANTS.coldest_evidence_c, CONSTANTS.warmest_evidence_c


class RiskCautions:
    """The cautions of one request."""

    def __init__(self, engine: Engine) -> None:
        self._engine, self._reference = engine, engine.reference
        self._longest_days = engine.reference.longest_rule_days
        self._known: dict[tuple[object, ...], bytes] = {}
        self._texts: dict[tuple[Caution, ...], bytes] = {}

    def of_all(self, queries: Sequence[RiskQuery], lines: Lines) -> list[bytes]:
        """Return the cautions of each query as a JSON list."""
        of_plant = [
            self._text(self._of_plant(name, plant, ())) for name, plant in zip(lines.names, lines.unique, strict=True)
        ]
        said = [of_plant[i] for i in lines.index.tolist()]
        special = (lines.days > self._longest_days) | ~(
            (lines.constant_c >= COLDEST_C) & (lines.constant_c <= WARMEST_C)
        )
        special[lines.changing] = True
        packed = [i for i, query in enumerate(queries) if query.heat_packs]
        for i in {*np.flatnonzero(special).tolist(), *packed}:
            said[i] = self._of(queries[i], lines.names[lines.index[i]], lines.unique[lines.index[i]])
        return said

    def _of(self, query: RiskQuery, name: str, plant: Plant) -> bytes:
        """Return the cautions of a query, also of its journey."""
        temperature, days = query.temperature, query.transit_days
        lane = None
        extreme_c: float | None = None
        if type(temperature) is InsideTemperature:
            if not COLDEST_C <= temperature.inside_c <= WARMEST_C:
                extreme_c = temperature.inside_c
        elif type(temperature) is LaneTemperature:
            lane = (temperature.origin, temperature.destination)
        long_days = days if days > self._longest_days else None
        pack_h = query.heat_pack_hours if query.heat_packs and 0 < query.heat_pack_hours < 24.0 * days else None
        key = (name, plant, long_days, extreme_c, lane, pack_h)
        known = self._known.get(key)
        if known is None:
            of_journey: list[Caution] = []
            for code in lane or ():
                of_journey += resolve_place(code, "", self._reference).cautions
            if long_days is not None:
                what = f"a trip of {long_days:g} days"
                of_journey.append(
                    caution("extrapolation", what=what, range=f"rules of thumb to {self._longest_days:g} days")
                )
            if extreme_c is not None:
                what = f"{extreme_c:g} °C in the box"
                of_journey.append(caution("extrapolation", what=what, range="rules of thumb at 20 to 22 °C"))
            if pack_h is not None:
                of_journey.append(caution("heat_pack_short", hours=pack_h, journeys="this trip"))
            known = self._known[key] = self._text(self._of_plant(name, plant, of_journey))
        return known

    def _of_plant(self, name: str, plant: Plant, of_journey: Sequence[Caution]) -> tuple[Caution, ...]:
        """Return the cautions of a plant whose genus was written so, those of its journey in their place among them."""
        genus = plant.genus
        said = [*resolve_genus(name, self._reference)[1], *self._unrecorded(plant), *of_journey]
        if genus is not None and genus.cites:
            said.append(caution("cites_possible", genera=genus.genus))
        if genus is not None and genus.irritant_sap:
            said.append(caution("irritant_sap", genera=genus.genus))
        return tuple(said)

    def _text(self, cautions: tuple[Caution, ...]) -> bytes:
        """Return cautions as a JSON list; most plants have the same."""
        text = self._texts.get(cautions)
        if text is None:
            text = self._texts[cautions] = to_json(cautions)
        return text

    def _unknown_seller(self, plant: Plant) -> bool:
        return plant.seller is not None and not self._engine.knows("seller", plant.seller)

    def _unrecorded(self, plant: Plant) -> Iterator[Caution]:
        """Yield what has no box recorded."""
        if self._engine.rules_alone:
            yield caution("no_own_record")
        if self._engine.update and not self._engine.update.in_use:
            yield caution("refit_due", why=self._engine.update.why)
        if self._unknown_seller(plant):
            yield caution("unknown_seller")
        if plant.genus and plant.cultivar and not self._engine.knows("cultivar", plant.cultivar_level):
            yield caution("unknown_cultivar", plants=f"{plant.genus.genus} {plant.cultivar}")
