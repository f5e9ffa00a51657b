"""Cautions of risk queries, written once for all queries that get the same."""

from collections.abc import Iterator

from pydantic_core import to_json

from app.batch import caution, resolve_genus, resolve_place
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

    def of(self, query: RiskQuery, plant: Plant) -> bytes:
        """Return the cautions of a query as a JSON list."""
        temperature, days, genus = query.temperature, query.transit_days, plant.genus
        lane = None
        extreme_c: float | None = None
        if type(temperature) is InsideTemperature:
            if not COLDEST_C <= temperature.inside_c <= WARMEST_C:
                extreme_c = temperature.inside_c
        elif type(temperature) is LaneTemperature:
            lane = (temperature.origin, temperature.destination)
        long_days = days if days > self._longest_days else None
        pack_h = query.heat_pack_hours if query.heat_packs and 0 < query.heat_pack_hours < 24.0 * days else None
        key = (query.genus, query.cultivar, self._unknown_seller(plant), long_days, extreme_c, lane, pack_h)
        known = self._known.get(key)
        if known is None:
            said: list[Caution] = [*resolve_genus(query.genus, self._reference)[1], *self._unrecorded(plant)]
            for code in lane or ():
                said += resolve_place(code, "", self._reference).cautions
            if long_days is not None:
                what = f"a trip of {long_days:g} days"
                said.append(caution("extrapolation", what=what, range=f"rules of thumb to {self._longest_days:g} days"))
            if extreme_c is not None:
                what = f"{extreme_c:g} °C in the box"
                said.append(caution("extrapolation", what=what, range="rules of thumb at 20 to 22 °C"))
            if pack_h is not None:
                said.append(caution("heat_pack_short", hours=pack_h, journeys="this trip"))
            if genus is not None and genus.cites:
                said.append(caution("cites_possible", genera=genus.genus))
            if genus is not None and genus.irritant_sap:
                said.append(caution("irritant_sap", genera=genus.genus))
            known = self._known[key] = to_json(said)
        return known

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
