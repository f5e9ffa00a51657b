"""The chances of many lines of plants at once."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pydantic_core import to_json

from app.cautions import caution
from app.engine import Engine
from app.problems import json_pointer
from app.schemas.answers import Caution
from app.schemas.risk import DailyTemperature, InsideTemperature, LaneTemperature, RiskQuery, RiskRequest
from app.services.batch import PackedBox, box_of
from app.services.genera import resolve_genus
from app.services.lanes import Lane, WeatherDraws
from app.services.places import resolve_place
from model.box import Box, inside_air
from model.damage import ClockDraws, ExposureClock, chill_rate, damage_rate
from model.journey import expose, leg_ends
from model.predict import Plant, PosteriorDraws, clock_draws, plant_effects
from model.reference import Genus

Array = NDArray[np.float64]

# Queries taken at once: their draws stay in the cache.
CHUNK = 128
LOW, HIGH = 0.1, 0.9
WEATHER_SEED = 1
LONGEST_RULE_DAYS = 21.0
COLDEST_C, WARMEST_C = 0.0, 40.0
NO_EVIDENCE = {"shipments": 0, "plants": 0, "weight": 0.0}


@dataclass(frozen=True, slots=True, eq=False)
class _Exposed:
    """Log equivalent days and chill dose of one query, (draws,) each."""

    log_days: Array
    chill_dose_days: Array


class _RiskBatch:
    """One request: genera, effects and journeys that several queries share are worked out once."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._draws: PosteriorDraws = engine.chance_draws
        self._effects: dict[Plant, Array] = {}
        self._clocks: dict[Genus | None, ClockDraws] = {}
        self._rates: dict[tuple[Genus | None, float], tuple[Array, Array]] = {}
        self._journeys: dict[tuple[object, ...], _Exposed] = {}
        self._said: dict[tuple[object, ...], list[dict[str, object]]] = {}

    def plant(self, query: RiskQuery) -> Plant:
        """Return the plant of a query."""
        temperature = query.temperature
        service = query.service or (temperature.service if type(temperature) is LaneTemperature else None)
        return Plant(
            resolve_genus(query.genus, self._engine.reference)[0],
            query.cultivar,
            query.container,
            query.roots,
            service,
            query.seller_kind,
            query.seller,
        )

    def effects(self, plant: Plant) -> Array:
        """Return the linear predictor but for time and temperature, (draws,)."""
        known = self._effects.get(plant)
        if known is None:
            known = self._effects[plant] = plant_effects(plant, self._draws)
        return known

    def exposure(self, index: int, query: RiskQuery, genus: Genus | None) -> _Exposed:
        """Return what the plants of a query go through."""
        temperature = query.temperature
        if type(temperature) is InsideTemperature:
            log_rate, chill = self._constant(genus, temperature.inside_c)
            return _Exposed(log_rate + np.log(query.transit_days), chill * query.transit_days)
        key = (
            genus,
            query.container,
            query.heat_pack_hours,
            query.heat_packs,
            query.cold_packs,
            query.transit_days,
            query.ship_date,
            temperature.model_dump_json(),
        )
        if key not in self._journeys:
            if type(temperature) is DailyTemperature:
                self._journeys[key] = self._daily(query, temperature, genus)
            else:
                assert isinstance(temperature, LaneTemperature)  # noqa: S101 - the only shape left
                self._journeys[key] = self._lane(index, query, temperature, genus)
        return self._journeys[key]

    def _clock(self, genus: Genus | None) -> ClockDraws:
        known = self._clocks.get(genus)
        if known is None:
            known = self._clocks[genus] = clock_draws([genus], self._draws)
        return known

    def _constant(self, genus: Genus | None, inside_c: float) -> tuple[Array, Array]:
        key = (genus, inside_c)
        known = self._rates.get(key)
        if known is None:
            clock, inside = self._clock(genus), np.full(1, inside_c)
            known = np.log(damage_rate(inside, clock)[0]), chill_rate(inside, clock)[0]
            self._rates[key] = known
        return known

    def _daily(self, query: RiskQuery, temperature: DailyTemperature, genus: Genus | None) -> _Exposed:
        hours = max(int(np.ceil(24.0 * query.transit_days)), 1)
        days = np.minimum(np.arange(hours) // 24, len(temperature.daily) - 1)
        low = np.array([day.min_c for day in temperature.daily])[days]
        high = np.array([day.max_c for day in temperature.daily])[days]
        # Hours count from the closing in the morning, 8 h; warmest at 15 h.
        at = np.arange(hours) + 8.5
        outside = 0.5 * (low + high) + 0.5 * (high - low) * np.cos(2.0 * np.pi * (at - 15.0) / 24.0)
        inside = inside_air(outside, self._box(query), float(outside[0]))
        counted = np.clip(24.0 * query.transit_days - np.arange(hours), 0.0, 1.0)
        n = self._draws.n_draws
        clock = ExposureClock(self._clock(genus))
        for start in range(0, hours, 24):
            block = slice(start, start + 24)
            shape = (len(inside[block]), n)
            clock.add(np.broadcast_to(inside[block, None], shape), np.broadcast_to(counted[block, None], shape))
        return _Exposed(np.log(clock.equivalent_days()[0]), clock.chill_dose_days()[0])

    def _lane(self, index: int, query: RiskQuery, temperature: LaneTemperature, genus: Genus | None) -> _Exposed:
        reference = self._engine.reference
        ends_at = [
            resolve_place(code, json_pointer(("queries", index, "temperature", role)), reference).place
            for role, code in (("origin", temperature.origin), ("destination", temperature.destination))
        ]
        assert query.ship_date is not None  # noqa: S101 - the schema asks for it
        lane = Lane.between(*ends_at, temperature.service, reference)
        n = self._draws.n_draws
        weather = WeatherDraws(
            reference, query.ship_date, int(query.transit_days) + 2, draws=n, seed=WEATHER_SEED
        )
        ends = leg_ends(lane.legs, np.full(n, query.transit_days), added_days={})
        streets = weather.streets(lane, lane.closing(query.ship_date), int(np.ceil(ends[-1, 0])) + 1)
        exposed = expose(lane.legs, ends, streets, self._box(query), self._clock(genus))
        return _Exposed(np.log(exposed.equivalent_days[0]), exposed.chill_dose_days[0])

    def _box(self, query: RiskQuery) -> Box:
        packing = PackedBox(query.container, query.heat_pack_hours, query.heat_packs, query.cold_packs)
        return box_of(packing, self._engine.reference)

    def cautions(self, query: RiskQuery, genus: Genus | None) -> list[dict[str, object]]:
        """Return the cautions of a query, as they are printed."""
        temperature = query.temperature
        inside = temperature.inside_c if type(temperature) is InsideTemperature else None
        long = query.transit_days > LONGEST_RULE_DAYS
        extreme = inside is not None and not COLDEST_C <= inside <= WARMEST_C
        lane = (temperature.origin, temperature.destination) if type(temperature) is LaneTemperature else None
        short_pack = 0 < query.heat_pack_hours < 24.0 * query.transit_days and query.heat_packs > 0
        key = (
            query.genus,
            bool(query.seller),
            query.transit_days if long else None,
            inside if extreme else None,
            lane,
            query.heat_pack_hours if short_pack else None,
        )
        known = self._said.get(key)
        if known is None:
            said: list[Caution] = [*resolve_genus(query.genus, self._engine.reference)[1], caution("no_own_record")]
            if query.seller:
                said.append(caution("unknown_seller"))
            if lane is not None:
                for code in lane:
                    said += resolve_place(code, "", self._engine.reference).cautions
            if long:
                what = f"a trip of {query.transit_days:g} days"
                said.append(caution("extrapolation", what=what, range="rules of thumb to 21 days"))
            if extreme:
                what = f"{inside:g} °C in the box"
                said.append(caution("extrapolation", what=what, range="rules of thumb at 20 to 22 °C"))
            if short_pack:
                said.append(caution("heat_pack_short", hours=query.heat_pack_hours, share=1.0, route="this trip"))
            if genus is not None and genus.irritant_sap:
                said.append(caution("irritant_sap", genera=genus.genus))
            if genus is not None and genus.cites:
                said.append(caution("cites_possible", genera=genus.genus))
            known = self._said[key] = [c.model_dump(mode="json") for c in said]
        return known


def answer_risk(request: RiskRequest, engine: Engine) -> bytes:
    """Return the answer as JSON bytes: results in the order asked.

    Written from plain values, since ten thousand results as models cost more than their computation.
    """
    batch = _RiskBatch(engine)
    results: list[dict[str, object]] = []
    for start in range(0, len(request.queries), CHUNK):
        queries = request.queries[start : start + CHUNK]
        results += _results(batch, start, queries, engine)
    return to_json({"model_version": engine.model_version, "results": results}, inf_nan_mode="constants")


def _results(
    batch: _RiskBatch, start: int, queries: Sequence[RiskQuery], engine: Engine
) -> Iterator[dict[str, object]]:
    draws, late_loss = engine.chance_draws, engine.chance_draws.late_loss
    plants = [batch.plant(query) for query in queries]
    exposed = [
        batch.exposure(start + i, query, plant.genus) for i, (query, plant) in enumerate(zip(queries, plants, strict=True))
    ]
    log_days = np.stack([e.log_days for e in exposed])
    effects = np.stack([batch.effects(plant) for plant in plants])
    healthy, dead = engine.marginal_chances(effects + draws.parameters.kappa * (log_days - np.log(7.0)))
    dose = np.stack([e.chill_dose_days for e in exposed])
    late = np.broadcast_to(engine.late_unchilled, dose.shape)
    if (chilled := dose.any(axis=1)).any():
        late = late.copy()
        late[chilled] = late_loss.chance(dose[chilled])
    columns = {
        "healthy": _interval(healthy),
        "damaged": _interval(1.0 - healthy - dead),
        "dead": _interval(dead),
        "healthy_two_weeks": _interval(healthy * (1.0 - late)),
    }
    equivalent = np.exp(np.median(log_days, axis=1)).tolist()
    for i, query in enumerate(queries):
        result: dict[str, object] = {
            name: {"mean": mean[i], "low": low[i], "high": high[i]} for name, (mean, low, high) in columns.items()
        }
        result["equivalent_days"] = equivalent[i]
        result["evidence"] = NO_EVIDENCE
        result["cautions"] = batch.cautions(query, plants[i].genus)
        yield result


def _interval(chances: Array) -> tuple[list[float], list[float], list[float]]:
    """Return mean, 10 % and 90 % quantile over the draws of each row."""
    n = chances.shape[1]
    mean = chances.mean(axis=1)
    low, high = round(LOW * (n - 1)), round(HIGH * (n - 1))
    ranked = np.partition(chances, (low, high), axis=1)
    return mean.tolist(), ranked[:, low].tolist(), ranked[:, high].tolist()

