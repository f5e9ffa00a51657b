"""How many to order of one line so that enough arrive healthy."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.batch import MOST_BOXES, PreparedRoute, prepare
from app.comparing.batch_cautions import asked_cautions, closing_cautions, layover_cautions
from app.comparing.compare import MOST_PLANTS
from app.comparing.order_leads import order_size_lead
from app.comparing.simulated import SimulatedBatch
from app.comparing.simulation import Journeys
from app.comparing.summaries import answered, money_items
from app.schemas import (
    Assumed,
    CompareRequest,
    OrderSizeAnswer,
    OrderSizeRequest,
    PossibleOrder,
    RouteOrder,
    Target,
)
from app.serving import Engine
from model.decision import (
    LandedCost,
    Summary,
    enough_chance,
    enough_chance_apart,
    landed_cost,
    smallest_order,
    smallest_order_apart,
    summarise,
)

# So many plants for each wanted healthy, and a few more, are past any order worth placing: what chance is left then is
# that of a box lost whole, which more plants in it hardly help.
MOST_FOR_ONE, A_FEW = 4, 10
# How sure one can be instead, the surest first.
LESS_SURE = (0.95, 0.9, 0.8, 0.7, 0.6, 0.5)


class RouteChances:
    """Chances of plants on one route, box by box; journeys are followed once for all lines."""

    def __init__(self, batch: SimulatedBatch, route: PreparedRoute) -> None:
        self.route, self.simulation = route, batch.simulation
        self._batch = batch
        self._journeys: list[Journeys] = []

    def by_box(self, line: int, n_boxes: int) -> NDArray[np.float64]:
        """Return the chance that a plant of a line is healthy in each of the first boxes, (draws, boxes)."""
        if n_boxes > len(self._journeys):
            plan = replace(self.route.plan, n_boxes=n_boxes, apart=n_boxes > 1)
            self._batch.follow_too(plan)
            self._journeys = self._batch.journeys(replace(self.route, plan=plan))
        return self.simulation.chance_by_box(self.route.plan, self._journeys[:n_boxes], line)


@dataclass(frozen=True, slots=True, eq=False)
class Order:
    """The smallest order of a line on a route.

    `chance` is that of at least the wanted number healthy, `healthy` their number, `cost` that of the whole batch.
    """

    quantity: int
    boxes: int
    chance: float
    healthy: Summary
    cost: LandedCost


def answer_order_size(
    request: OrderSizeRequest, engine: Engine, from_record: Sequence[Assumed] = ()
) -> OrderSizeAnswer:
    """Return for each route the smallest quantity of the target line and what it costs.

    `from_record` is what was filled in from the record of the seller.
    """
    batch = SimulatedBatch(request, prepare(request, engine, request.ship_date, from_record), engine)
    prepared = batch.prepared
    routes = [_answered(request, route.asked.name, RouteChances(batch, route)) for route in prepared.routes]
    return OrderSizeAnswer(
        model_version=engine.model_version,
        seed=request.seed,
        draws=batch.request.draws,
        lead=order_size_lead(request, routes),
        routes=routes,
        assumed=[a for a in prepared.assumed if not a.pointer.endswith("/boxes")],
        not_counted=prepared.not_counted,
        cautions=asked_cautions(request, prepared, engine)
        + layover_cautions(prepared, request.ship_date)
        + closing_cautions(prepared),
    )


def _answered(request: OrderSizeRequest, name: str, chances: RouteChances) -> RouteOrder:
    order = order_of(request, request.target, chances)
    possible = _possible(request, order, chances)
    if order is None:
        return RouteOrder(
            name=name,
            quantity=None,
            boxes=None,
            chance=None,
            healthy=None,
            items=[],
            landed_cost=None,
            possible=possible,
        )
    return RouteOrder(name=name, possible=possible, **_placed(order))


def _placed(order: Order) -> dict[str, Any]:
    """Return an order's fields, as `RouteOrder` and `PossibleOrder` have them alike."""
    return {
        "quantity": order.quantity,
        "boxes": order.boxes,
        "chance": order.chance,
        "healthy": answered(order.healthy),
        "items": money_items(order.cost),
        "landed_cost": float(order.cost.total),
    }


def _possible(request: OrderSizeRequest, order: Order | None, chances: RouteChances) -> PossibleOrder | None:
    """Return the surest order worth placing where as sure as wanted takes more than is; None where it does not."""
    target = request.target
    most = MOST_FOR_ONE * target.healthy + A_FEW
    if order is not None and order.quantity <= most:
        return None
    for confidence in LESS_SURE:
        if confidence >= target.confidence:
            continue
        less = order_of(request, target.model_copy(update={"confidence": confidence}), chances)
        if less is not None and less.quantity <= most:
            return PossibleOrder(confidence=confidence, **_placed(less))
    return None


def order_of(request: CompareRequest, target: Target, chances: RouteChances) -> Order | None:
    """Return the smallest order of the target line on a route, the other lines as asked; None if it is too large."""
    route, simulation = chances.route, chances.simulation
    asked = request.lines[target.line].quantity
    total = sum(line.quantity for line in request.lines)
    others = total - asked
    together = chances.by_box(target.line, 1)[:, 0]
    quantity = smallest_order(together, target.healthy, target.confidence, maximum=MOST_PLANTS)
    by_box, room = together[:, None], MOST_PLANTS
    label = f"order {route.asked.name}"
    if route.apart and (quantity is None or quantity + others > route.capacity):
        # Each box holds the lines at the mix asked for; four times the target is past any order worth placing.
        room = max(1, route.capacity * asked // total)
        by_box = chances.by_box(target.line, min(MOST_BOXES, -(-4 * target.healthy // room) + 1))
        quantity = smallest_order_apart(
            by_box,
            target.healthy,
            target.confidence,
            capacity=room,
            rng=simulation.numbers.rng(label),
            maximum=MOST_PLANTS,
        )
    if quantity is None:
        return None
    needed = -(-quantity // room) if room < MOST_PLANTS else -(-(quantity + others) // route.capacity)
    boxes = route.asked.boxes or needed
    quantities = [quantity if i == target.line else line.quantity for i, line in enumerate(request.lines)]
    cost = landed_cost(route.waybill(request, quantities, boxes))
    # Drawn as in the search, so that the chance is the one it found and the counts belong to it.
    if by_box.shape[1] == 1:
        chance = enough_chance(together, target.healthy, quantity)
    else:
        chance = enough_chance_apart(by_box, target.healthy, quantity, capacity=room, rng=simulation.numbers.rng(label))
    rng = simulation.numbers.rng(label)
    healthy = np.zeros(simulation.n_draws, dtype=np.int64)
    for box in range(by_box.shape[1]):
        healthy += rng.binomial(min(max(quantity - box * room, 0), room), by_box[:, box])
    return Order(quantity=quantity, boxes=boxes, chance=chance, healthy=summarise(healthy), cost=cost)
