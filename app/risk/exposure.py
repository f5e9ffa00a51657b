"""What the plants of a risk query go through when its temperature is not constant."""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from app.abandoned import end_if_abandoned
from app.batch import CLOSING_TIME, Lane, PackedBox, WeatherDraws, box_of, resolve_place
from app.problems import json_pointer
from app.risk.draw_rows import DrawRows, SingleArray
from app.schemas import DailyTemperature, LaneTemperature, RiskQuery
from app.serving import Engine
from app.side_by_side import side_by_side
from model.exposure import Box, FixedTimeJourneys, StreetAir, daily_swing, damage_of_hours, expose, inside_air, leg_ends
from model.plant import Plant
from model.predict import clock_draws
from model.reference import Genus
from model.transit import SHORTEST_DAYS

Array = NDArray[np.float64]

WEATHER_SEED = 1


def journey_key(query: RiskQuery) -> tuple[object, ...]:
    """Return what queries have in common that share a journey."""
    temperature = query.temperature
    where: object
    if type(temperature) is LaneTemperature:
        where = temperature.origin, temperature.destination, temperature.service
    else:
        where = temperature.model_dump_json()
    return (
        query.container,
        query.heat_pack_hours,
        query.heat_packs,
        query.cold_packs,
        query.ship_date,
        where,
        query.transit_days,
    )


class Exposed(NamedTuple):
    """What the plants of a query went through: log equivalent days and chill dose, (draws,) each."""

    log_days: SingleArray
    chill_dose_days: SingleArray


class _Way(NamedTuple):
    """A lane left on one day, with the air of as many hours as the longest journey along it takes."""

    lane: Lane
    streets: dict[str, StreetAir]


class QueryExposures:
    """Exposures of the queries of one request whose temperature is not constant, in the order of `DrawRows`.

    Journeys that several queries share, weather of a day and air along a lane are worked out once. How much there is
    is bounded by `app.risk.work_limit`.
    """

    def __init__(self, queries: Sequence[RiskQuery], indices: Sequence[int], engine: Engine, rows: DrawRows) -> None:
        """Take the queries and which of them are meant."""
        self._queries, self._engine, self._rows = queries, engine, rows
        self._journeys: dict[tuple[object, ...], list[int]] = {}
        self._longest: dict[date | None, float] = {}
        for i in indices:
            query = queries[i]
            self._journeys.setdefault(journey_key(query), []).append(i)
            longest = self._longest.get(query.ship_date, SHORTEST_DAYS)
            self._longest[query.ship_date] = max(longest, query.transit_days)
        self._weather: dict[date, WeatherDraws] = {}
        self._ways: dict[tuple[date, str, str, str], _Way] = {}
        self._followed: dict[tuple[object, ...], FixedTimeJourneys] = {}

    def all(self, plants: Sequence[Plant]) -> dict[int, Exposed]:
        """Return what the plants of each query go through, by its position; `plants` is one a query.

        Raises
        ------
        InvalidInput
            For a place code that is not known.
        """
        for key, indices in self._journeys.items():
            if type(self._queries[indices[0]].temperature) is LaneTemperature:
                self._prepare(indices[0], key[:-1])

        def follow(journey: tuple[tuple[object, ...], list[int]]) -> dict[int, Exposed]:
            return self._follow(*journey, plants)

        exposed: dict[int, Exposed] = {}
        for own in side_by_side(follow, list(self._journeys.items())):
            exposed |= own
        return exposed

    def _follow(self, key: tuple[object, ...], indices: list[int], plants: Sequence[Plant]) -> dict[int, Exposed]:
        """Follow the journey of some queries, once for all their genera."""
        end_if_abandoned()
        query = self._queries[indices[0]]
        if type(query.temperature) is DailyTemperature:
            inside: SingleArray | None = self._daily(query)
        else:
            inside = self._followed[key[:-1]].inside(max(query.transit_days, SHORTEST_DAYS))
        known: dict[Genus | None, Exposed] = {}
        for i in indices:
            genus = plants[i].genus
            if genus not in known:
                known[genus] = self._damage(query, inside, genus)
        return {i: known[plants[i].genus] for i in indices}

    def _damage(self, query: RiskQuery, inside: SingleArray | None, genus: Genus | None) -> Exposed:
        if inside is None:
            return self._plainly(query, genus)
        duration_h = 24.0 * max(query.transit_days, SHORTEST_DAYS)
        days, dose = damage_of_hours(inside, duration_h, self._rows.log_q1, self._rows.cold(genus))
        return Exposed(np.log(days), dose)

    def _box(self, query: RiskQuery) -> Box:
        packing = PackedBox(query.container, query.heat_pack_hours, query.heat_packs, query.cold_packs)
        return box_of(packing, self._engine.reference)

    def _daily(self, query: RiskQuery) -> SingleArray:
        """Return the air inside by outside air day by day, (hours, 1)."""
        temperature = query.temperature
        assert isinstance(temperature, DailyTemperature)  # noqa: S101 - of this shape only
        hours = int(np.ceil(24.0 * max(query.transit_days, SHORTEST_DAYS)))
        at = CLOSING_TIME.hour + np.arange(hours) + 0.5
        # Days run from midnight: the box is closed on the first of them.
        days = np.minimum((at // 24).astype(int), len(temperature.daily) - 1)
        low = np.array([day.min_c for day in temperature.daily])[days]
        high = np.array([day.max_c for day in temperature.daily])[days]
        outside = 0.5 * (low + high) + daily_swing(0.5 * (high - low), at)
        return inside_air(outside, self._box(query), float(outside[0])).astype(np.float32)[:, None]

    def _prepare(self, index: int, without_days: tuple[object, ...]) -> None:
        """Work out what journeys along a lane share whatever their time."""
        if without_days not in self._followed:
            query = self._queries[index]
            way = self._way(query, index)
            self._followed[without_days] = FixedTimeJourneys(way.lane.legs, way.streets, self._box(query))

    def _way(self, query: RiskQuery, index: int) -> _Way:
        temperature, ship_date, reference = query.temperature, query.ship_date, self._engine.reference
        assert isinstance(temperature, LaneTemperature)  # noqa: S101 - the only shape left
        assert ship_date is not None  # noqa: S101 - the schema asks for it
        key = (ship_date, temperature.origin, temperature.destination, temperature.service)
        known = self._ways.get(key)
        if known is None:
            origin, destination = (
                resolve_place(code, json_pointer(("queries", index, "temperature", role)), reference).place
                for role, code in (("origin", temperature.origin), ("destination", temperature.destination))
            )
            lane, longest = Lane.between(origin, destination, temperature.service, reference), self._longest[ship_date]
            weather = self._weather.get(ship_date)
            if weather is None:
                n_draws = self._engine.chance_draws.n_draws
                weather = self._weather[ship_date] = WeatherDraws(
                    reference, ship_date, int(longest) + 2, draws=n_draws, seed=WEATHER_SEED
                )
            streets = weather.streets(lane, lane.closing(ship_date), int(np.ceil(24.0 * longest)) + 1)
            order = self._rows.order
            streets = {
                role: StreetAir(air.mean_c, air.swing_c, air.day, air.anomaly_c[:, order])
                for role, air in streets.items()
            }
            known = self._ways[key] = _Way(lane, streets)
        return known

    def _plainly(self, query: RiskQuery, genus: Genus | None) -> Exposed:
        """Return what plants go through whose heat pack may freeze, followed hour by hour."""
        way, draws = self._way(query, 0), self._rows.draws
        total_days = np.full(draws.n_draws, max(query.transit_days, SHORTEST_DAYS))
        ends = leg_ends(way.lane.legs, total_days, added_days={})
        exposed = expose(way.lane.legs, ends, way.streets, self._box(query), clock_draws([genus], draws))
        days, dose = exposed.equivalent_days[0], exposed.chill_dose_days[0]
        return Exposed(np.log(days).astype(np.float32), dose.astype(np.float32))
