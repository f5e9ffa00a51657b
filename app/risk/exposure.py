"""What the plants of a risk query go through when its temperature is not constant."""

import numpy as np
from numpy.typing import NDArray

from app.abandoned import end_if_abandoned
from app.batch import CLOSING_TIME, Lane, PackedBox, WeatherDraws, box_of, resolve_place
from app.problems import json_pointer
from app.schemas import DailyTemperature, LaneTemperature, RiskQuery
from app.serving import Engine
from model.exposure import Box, ExposureClock, daily_swing, expose, inside_air, leg_ends
from model.predict import clock_draws
from model.reference import Genus
from model.transit import SHORTEST_DAYS

Array = NDArray[np.float64]

WEATHER_SEED = 1


def journey_key(query: RiskQuery, genus: Genus | None) -> tuple[object, ...]:
    """Return what queries have in common that share a journey and what it does to a genus."""
    return (
        genus,
        query.container,
        query.heat_pack_hours,
        query.heat_packs,
        query.cold_packs,
        query.transit_days,
        query.ship_date,
        query.temperature.model_dump_json(),
    )


class QueryExposures:
    """Exposures of one request; journeys that several queries share are worked out once.

    How many there are is bounded by `app.risk.work_limit`.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._known: dict[tuple[object, ...], tuple[Array, Array]] = {}

    def of(self, index: int, query: RiskQuery, genus: Genus | None) -> tuple[Array, Array]:
        """Return log equivalent days and chill dose, (draws,) each.

        Raises
        ------
        InvalidInput
            For a place code that is not known.
        """
        temperature = query.temperature
        key = journey_key(query, genus)
        known = self._known.get(key)
        if known is None:
            end_if_abandoned()
            if type(temperature) is DailyTemperature:
                known = self._daily(query, temperature, genus)
            else:
                assert isinstance(temperature, LaneTemperature)  # noqa: S101 - the only shape left
                known = self._lane(index, query, temperature, genus)
            self._known[key] = known
        return known

    def _box(self, query: RiskQuery) -> Box:
        packing = PackedBox(query.container, query.heat_pack_hours, query.heat_packs, query.cold_packs)
        return box_of(packing, self._engine.reference)

    def _daily(self, query: RiskQuery, temperature: DailyTemperature, genus: Genus | None) -> tuple[Array, Array]:
        transit_days = max(query.transit_days, SHORTEST_DAYS)
        hours = int(np.ceil(24.0 * transit_days))
        at = CLOSING_TIME.hour + np.arange(hours) + 0.5
        # Days run from midnight: the box is closed on the first of them.
        days = np.minimum((at // 24).astype(int), len(temperature.daily) - 1)
        low = np.array([day.min_c for day in temperature.daily])[days]
        high = np.array([day.max_c for day in temperature.daily])[days]
        outside = 0.5 * (low + high) + daily_swing(0.5 * (high - low), at)
        inside = inside_air(outside, self._box(query), float(outside[0])).astype(np.float32)
        draws = self._engine.chance_draws
        clock = ExposureClock(clock_draws([genus], draws))
        counted = np.full(draws.n_draws, 24.0 * transit_days, dtype=np.float32)
        clock.add(np.broadcast_to(inside[:, None], (hours, draws.n_draws)), counted)
        return np.log(clock.equivalent_days()[0]), clock.chill_dose_days()[0]

    def _lane(
        self, index: int, query: RiskQuery, temperature: LaneTemperature, genus: Genus | None
    ) -> tuple[Array, Array]:
        reference, draws = self._engine.reference, self._engine.chance_draws
        origin, destination = (
            resolve_place(code, json_pointer(("queries", index, "temperature", role)), reference).place
            for role, code in (("origin", temperature.origin), ("destination", temperature.destination))
        )
        assert query.ship_date is not None  # noqa: S101 - the schema asks for it
        lane = Lane.between(origin, destination, temperature.service, reference)
        weather = WeatherDraws(
            reference, query.ship_date, int(query.transit_days) + 2, draws=draws.n_draws, seed=WEATHER_SEED
        )
        ends = leg_ends(lane.legs, np.full(draws.n_draws, max(query.transit_days, SHORTEST_DAYS)), added_days={})
        streets = weather.streets(lane, lane.closing(query.ship_date), int(np.ceil(ends[-1, 0])) + 1)
        exposed = expose(lane.legs, ends, streets, self._box(query), clock_draws([genus], draws))
        return np.log(exposed.equivalent_days[0]), exposed.chill_dose_days[0]
