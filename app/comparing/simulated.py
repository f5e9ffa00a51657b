"""A batch whose routes are simulated when asked for."""

from dataclasses import dataclass, replace
from datetime import date

from app.batch import PreparedBatch, PreparedRoute, RoutePlan, origin_layover
from app.comparing.money import RouteMoney, route_money
from app.comparing.simulation import BatchSimulation, Journeys, RouteDraws, shared_draws
from app.comparing.work_limit import check_work, with_fitting_draws, work_of
from app.schemas import CompareRequest
from app.serving import Engine
from app.side_by_side import side_by_side


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedRoute:
    """A route with its journeys, its draws and its money."""

    route: PreparedRoute
    journeys: list[Journeys]
    drawn: RouteDraws
    money: RouteMoney


class SimulatedBatch:
    """A prepared batch and what its routes share: each is simulated when asked for, in so many draws.

    `n_searches` is how many orders will be searched for beside, `n_remedies` how many remedies played through, and
    `worth_knowing` whether it is worked out what knowing is worth, and no box travels otherwise than asked. With
    `draws` it stands beside a larger one and is not counted; without, `request` is the one given with as many draws as
    fit, if it leaves them out.

    Raises
    ------
    TooMuchWork
        If following its routes is too much work.
    """

    def __init__(
        self,
        request: CompareRequest,
        prepared: PreparedBatch,
        engine: Engine,
        *,
        draws: int | None = None,
        n_searches: int = 0,
        n_remedies: int = 0,
        worth_knowing: bool = False,
    ) -> None:
        self._followed = [
            plan for route in prepared.routes for plan in ([route.plan] if worth_knowing else _followed(route))
        ]
        self._n_searches = n_searches
        if draws is None:
            work = work_of(
                prepared, self._followed, n_searches=n_searches, n_remedies=n_remedies, worth_knowing=worth_knowing
            )
            request = with_fitting_draws(request, work)
        self.request, self.prepared, self.engine = request, prepared, engine
        self.simulation: BatchSimulation
        self.simulation, self._weather = shared_draws(
            request, prepared, engine, request.ship_date, draws=draws, logged=worth_knowing
        )

    def by_rules(self, draws: int | None = None) -> "SimulatedBatch":
        """Return the same batch as the rules of thumb alone would play it."""
        rules = Engine.of_rules(self.engine.reference)
        batch = SimulatedBatch(self.request, self.prepared.by_table(), rules, draws=draws)
        if batch.simulation.n_draws == self.simulation.n_draws:
            batch._weather = self._weather  # it would be drawn alike
        return batch

    def follow_too(self, plan: RoutePlan) -> None:
        """Ask for a plan to be followed, and an order to be searched in its boxes, beside all that was asked for.

        Raises
        ------
        TooMuchWork
            If that is too much in all.
        """
        self._followed.append(plan)
        self._n_searches += plan.n_boxes
        check_work(self.simulation.n_draws, work_of(self.prepared, self._followed, n_searches=self._n_searches))

    def journeys(self, route: PreparedRoute, *, layover_days: float | None = None) -> list[Journeys]:
        """Follow the journeys of a route; with the usual layover of its day unless another is given."""
        return self.simulation.journeys(
            route.plan,
            self.request.ship_date,
            self._weather,
            layover_days=usual_layover(route, self.request.ship_date) if layover_days is None else layover_days,
        )

    def simulate(self, route: PreparedRoute, *, layover_days: float | None = None) -> SimulatedRoute:
        """Return a route with its draws and its money."""
        journeys = self.journeys(route, layover_days=layover_days)
        drawn = self.simulation.outcomes(route.plan, journeys)
        return SimulatedRoute(route, journeys, drawn, route_money(self.request, self.prepared, route, drawn))

    def routes(self) -> list[SimulatedRoute]:
        """Return all routes as asked for."""
        return side_by_side(self.simulate, self.prepared.routes)

    def other_travel(self, route: PreparedRoute) -> SimulatedRoute:
        """Return a route whose boxes travel apart where they were asked to travel together, and the other way round."""
        return self.simulate(_other_travel(route))


def usual_layover(route: PreparedRoute, ship_date: date) -> float:
    """Return the layover at the origin; none where the buyer gave the transit time of this very shipment."""
    return 0.0 if route.asked.transit_days else origin_layover(route.plan.lane, route.plan.calendar, ship_date)


def _followed(route: PreparedRoute) -> list[RoutePlan]:
    """Return what is simulated of a route: as asked, and the other way where it has more than one box."""
    return [route.plan] + ([_other_travel(route).plan] if route.plan.n_boxes > 1 else [])


def _other_travel(route: PreparedRoute) -> PreparedRoute:
    return replace(route, apart=not route.apart, plan=replace(route.plan, apart=not route.apart))
