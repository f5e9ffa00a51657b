"""A box on its way followed through the weather, as its forecast was: chances of its plants for drawn journeys."""

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from app.batch import PreparedBatch, WeatherDraws
from app.comparing import LONGEST_DAYS, WEATHER_DAYS, BatchSimulation, Journeys, RouteDraws
from app.outlook.open_journey import JourneyDraws, KnownJourney, draw_journeys
from app.schemas import CompareRequest
from app.serving import Engine
from model.exposure import Exposure, expose

Array = NDArray[np.float64]

# Chances are averaged over at most so many draws, whatever the plan asked for.
MOST_DRAWS = 4096
# Weather begins on the day planned where the box left about then, so that it is the forecast's own.
NEAR_PLAN_DAYS = 14


class FollowedBox:
    """Draws of one box on its way, given all that is known of it.

    Attributes
    ----------
    journeys : JourneyDraws
    exposure : Exposure
        Of the plants from the closing to the opening.
    """

    def __init__(self, plan: CompareRequest, prepared: PreparedBatch, known: KnownJourney, engine: Engine) -> None:
        draws = min(plan.draws, MOST_DRAWS)
        self.known, self._route = known, prepared.routes[0]
        self._simulation = BatchSimulation(engine, prepared.lines, draws=draws, seed=plan.seed)
        closed_on = known.lane.local(known.closed_at, "origin").date()
        first = plan.ship_date if 0 <= (closed_on - plan.ship_date).days <= NEAR_PLAN_DAYS else closed_on
        days = int(min(known.elapsed_days, LONGEST_DAYS)) + NEAR_PLAN_DAYS + WEATHER_DAYS
        self._weather = WeatherDraws(
            engine.reference, first, days, draws=draws, seed=plan.seed, forecast=prepared.forecast
        )
        self.journeys: JourneyDraws = draw_journeys(known, self._simulation)
        self.exposure = self._exposure(self.journeys.ends_h)

    def _exposure(self, ends_h: Array) -> Exposure:
        lane = self.known.lane
        streets = self._weather.streets(lane, self.known.closed_at, int(np.ceil(ends_h[-1].max())) + 1)
        return expose(lane.legs, ends_h, streets, self._route.plan.box, self._simulation.clock)

    def healthy_mean(self, exposure: Exposure) -> float:
        """Return the chance that a plant is healthy at unboxing, mean over plants and draws."""
        quantities = [line.quantity for line in self._simulation.lines]
        chances = [float(healthy.mean()) for healthy, _ in self._simulation.plant_chances(self._route.plan, exposure)]
        return float(np.average(chances, weights=quantities))

    @cached_property
    def healthy_as_it_is(self) -> float:
        """`healthy_mean` of the journeys as they are."""
        return self.healthy_mean(self.exposure)

    def gain(self, ends_h: Array) -> float:
        """Return what other ends of the legs, (legs, draws), would add to the chance that a plant is healthy."""
        return self.healthy_mean(self._exposure(ends_h)) - self.healthy_as_it_is

    def chill_ahead_days(self) -> Array:
        """Return the chilling that the plants of each genus still meet, equivalent days, (genera, draws)."""
        now_h = 24.0 * self.known.elapsed_days
        so_far = self._exposure(np.minimum(self.journeys.ends_h, now_h)).chill_dose_days if now_h > 0 else 0.0
        return np.maximum(self.exposure.chill_dose_days - so_far, 0.0)

    def line_chances(self) -> list[dict[str, Array]]:
        """Return the chances of a plant of each line, (draws,) each: healthy, damaged, dead, healthy_two_weeks."""
        late = self._simulation.late_loss_chance(self.exposure)
        chances = self._simulation.plant_chances(self._route.plan, self.exposure)
        return [
            {
                "healthy": healthy,
                "damaged": np.maximum(1.0 - healthy - dead, 0.0),
                "dead": dead,
                "healthy_two_weeks": healthy * (1.0 - late[genus]),
            }
            for (healthy, dead), genus in zip(chances, self._simulation.line_genus, strict=True)
        ]

    def outcomes(self) -> RouteDraws:
        """Return the joint counts, as a comparison draws them."""
        return self._simulation.outcomes(self._route.plan, [Journeys(self.journeys.opened_days, self.exposure)])
