"""A batch whose routes are simulated when asked for."""

from dataclasses import dataclass, replace
from datetime import date

from app.batch import PreparedBatch, PreparedRoute, RoutePlan, prepare
from app.comparing.money import RouteMoney, route_money
from app.comparing.simulation import BatchSimulation, Journeys, RouteDraws, shared_draws
from app.comparing.work_limit import check_work
from app.schemas import CompareRequest
from app.serving import Engine


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedRoute:
    """A route with its journeys, its draws and its money."""

    route: PreparedRoute
    journeys: list[Journeys]
    drawn: RouteDraws
    money: RouteMoney


class SimulatedBatch:
    """A batch and what its routes share: each is simulated when asked for."""

    def __init__(self, request: CompareRequest, engine: Engine) -> None:
        self.request, self.engine = request, engine
        self.prepared: PreparedBatch = prepare(request, engine, request.ship_date)
        check_work(request, self.prepared, [plan for route in self.prepared.routes for plan in _followed(route)])
        self.simulation: BatchSimulation
        self.simulation, self._weather = shared_draws(request, self.prepared, engine, request.ship_date)

    def journeys(self, route: PreparedRoute) -> list[Journeys]:
        """Follow the journeys of a route."""
        return self.simulation.journeys(
            route.plan,
            self.request.ship_date,
            self._weather,
            self.request.closed_dates,
            layover_days=usual_layover(route, self.request.ship_date),
        )

    def simulate(self, route: PreparedRoute) -> SimulatedRoute:
        """Return a route with its draws and its money."""
        journeys = self.journeys(route)
        drawn = self.simulation.outcomes(route.plan, journeys)
        return SimulatedRoute(route, journeys, drawn, route_money(self.request, self.prepared, route, drawn))


def usual_layover(route: PreparedRoute, ship_date: date) -> float:
    """Return the layover of the service; none where the buyer gave the transit time of this very shipment."""
    return 0.0 if route.asked.transit_days else route.plan.lane.service.layover_days(ship_date.weekday())


def _followed(route: PreparedRoute) -> list[RoutePlan]:
    """Return what is simulated of a route: as asked, and the other way where it has more than one box."""
    return [route.plan] + ([_other_travel(route).plan] if route.plan.n_boxes > 1 else [])


def _other_travel(route: PreparedRoute) -> PreparedRoute:
    apart = route.asked.travel == "apart"
    asked = route.asked.model_copy(update={"travel": "together" if apart else "apart"})
    return replace(route, asked=asked, plan=replace(route.plan, apart=not apart))
