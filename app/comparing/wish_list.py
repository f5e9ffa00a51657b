"""What to order: each line of a wish list on each route, what it brings, and how many reach what is wanted."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from app.batch import money, percent
from app.comparing.batch_cautions import asked_cautions, closing_cautions, journey_cautions, layover_cautions
from app.comparing.order_size import RouteChances, order_of
from app.comparing.simulated import SimulatedBatch, SimulatedRoute
from app.comparing.summaries import distribution
from app.schemas import (
    ChanceInterval,
    Target,
    WantedOrder,
    WishAdvice,
    WishLine,
    WishListAnswer,
    WishListRequest,
    WishOutcome,
    WishRoute,
)
from app.serving import Engine
from model.decision import chance_loss_within_limit, cost_per_healthy_plant, landed_cost

Array = NDArray[np.float64]

LOW, HIGH = 0.1, 0.9
COST_SHARES = (
    "Each line bears its own plants with their duty and tax; freight, handling, papers and everything else are shared "
    "equally between the plants of the batch."
)


def answer_wish_list(request: WishListRequest, engine: Engine) -> WishListAnswer:
    """Return what each line brings on each route, where to order it, and how many."""
    batch = SimulatedBatch(request, engine)
    simulated = [batch.simulate(route) for route in batch.prepared.routes]
    routes = [_route(request, batch, s) for s in simulated]
    cautions = asked_cautions(request, batch.prepared, engine) + layover_cautions(batch.prepared, request.ship_date)
    for s in simulated:
        cautions += journey_cautions(request, batch.prepared, s.route, s.drawn, engine.reference)
    return WishListAnswer(
        model_version=engine.model_version,
        seed=request.seed,
        draws=request.draws,
        cost_shares=COST_SHARES,
        advice=[_advice(request, i, routes) for i in range(len(request.lines))],
        routes=routes,
        assumed=list(batch.prepared.assumed),
        cautions=cautions + closing_cautions(batch.prepared),
    )


def _route(request: WishListRequest, batch: SimulatedBatch, s: SimulatedRoute) -> WishRoute:
    chances = RouteChances(batch, s.route)
    healthy, two_weeks = _mean_chances(batch, s)
    outcomes = []
    for i, line in enumerate(request.lines):
        share, recovered = float(s.money.line_cost[i]), s.money.line_recovered[:, i]
        margin = float(s.money.line_margin[i])
        gain = _gain_if_left_out(request, s, i)
        outcomes.append(
            WishOutcome(
                line=i,
                genus=line.genus,
                cultivar=line.cultivar,
                quantity=line.quantity,
                healthy=_interval(healthy[i]),
                healthy_two_weeks=_interval(two_weeks[i]),
                landed_cost=share,
                recovered_mean=float(recovered.mean()),
                cost_per_healthy_plant=cost_per_healthy_plant(share, recovered, s.drawn.healthy_two_weeks[:, i]),
                margin_mean=margin,
                margin_per_plant=margin / line.quantity,
                loses_money=margin < 0,
                reason=_why(request, s, i, gain) if margin < 0 else None,
                gain_if_left_out=gain,
                wanted=_wanted(request, i, line, chances),
            )
        )
    sent = sum(line.quantity for line in request.lines)
    return WishRoute(
        name=s.route.asked.name,
        boxes=s.route.plan.n_boxes,
        landed_cost=float(s.money.cost.total),
        margin=distribution(s.money.margin),
        chance_loss_within_limit=chance_loss_within_limit(s.drawn.dead.sum(axis=1), sent, request.risk.max_loss_share),
        lines=outcomes,
    )


def _mean_chances(batch: SimulatedBatch, s: SimulatedRoute) -> tuple[Array, Array]:
    """Return the chances of a plant of each line to be healthy at unboxing and two weeks on, mean over the boxes."""
    simulation, n_boxes = batch.simulation, len(s.journeys)
    healthy = np.zeros((len(simulation.lines), simulation.n_draws))
    two_weeks = np.zeros_like(healthy)
    for box, (_, exposure) in enumerate(s.journeys):
        late = simulation.late_loss_chance(exposure, box)
        chances = simulation.plant_chances(s.route.plan, exposure, box)
        for i, ((chance, _), genus) in enumerate(zip(chances, simulation.line_genus, strict=True)):
            healthy[i] += chance / n_boxes
            two_weeks[i] += chance * (1.0 - late[genus]) / n_boxes
    return healthy, two_weeks


def _interval(chance: Array) -> ChanceInterval:
    low, high = np.quantile(chance, [LOW, HIGH])
    return ChanceInterval(mean=min(float(chance.mean()), 1.0), low=low, high=min(float(high), 1.0))


def _gain_if_left_out(request: WishListRequest, s: SimulatedRoute, i: int) -> float:
    """Return the mean margin of the batch without a line, less the one with it."""
    quantities = [0 if j == i else line.quantity for j, line in enumerate(request.lines)]
    left = sum(quantities)
    cost_left = 0.0
    if left:
        boxes = s.route.asked.boxes or -(-left // s.route.capacity)
        cost_left = float(landed_cost(s.route.waybill(request, quantities, boxes)).total)
    sales_and_claims = float(s.money.line_margin[i] + s.money.line_cost[i])
    return float(s.money.cost.total) - cost_left - sales_and_claims


def _why(request: WishListRequest, s: SimulatedRoute, i: int, gain: float) -> str:
    line, currency = request.lines[i], request.currency
    loss, cost = -float(s.money.line_margin[i]), float(s.money.line_cost[i])
    if_all_healthy = line.quantity * line.sale_value - cost
    if if_all_healthy < 0:
        why = (
            f"Even if all {line.quantity:,} arrived healthy it would lose money: one costs "
            f"{money(cost / line.quantity, currency)} landed and sells for {money(line.sale_value, currency)}."
        )
    else:
        expected = float(s.drawn.healthy_two_weeks[:, i].mean())
        why = (
            f"It loses money by travelling: if all {line.quantity:,} arrived healthy it would earn "
            f"{money(if_all_healthy, currency)}, but {expected:.1f} are expected to be healthy two weeks on, and it "
            f"loses {money(loss, currency)}."
        )
    if len(request.lines) == 1:
        return why
    if gain > 0:
        return f"{why} Left out, the batch would earn {money(gain, currency)} more."
    return (
        f"{why} Left out, the batch would still earn {money(-gain, currency)} less, since the other lines would bear "
        "its share of the common costs."
    )


def _wanted(request: WishListRequest, i: int, line: WishLine, chances: RouteChances) -> WantedOrder | None:
    if line.wanted_healthy is None:
        return None
    order = order_of(request, Target(line=i, healthy=line.wanted_healthy, confidence=line.confidence), chances)
    return WantedOrder(
        wanted_healthy=line.wanted_healthy,
        confidence=line.confidence,
        quantity=order.quantity,
        boxes=order.boxes,
        chance=order.chance,
        landed_cost=order.landed_cost,
    )


def _advice(request: WishListRequest, i: int, routes: Sequence[WishRoute]) -> WishAdvice:
    best = max(routes, key=lambda route: route.lines[i].margin_per_plant)
    found, currency = best.lines[i], request.currency
    plant = found.genus if found.cultivar is None else f"{found.genus} {found.cultivar}"
    if found.loses_money:
        on = f"on {best.name}" if len(routes) == 1 else f"on every route, least on {best.name}"
        text = f"{plant}: loses money {on}, {money(-found.margin_per_plant, currency)} a plant."
        return WishAdvice(line=i, route=None, text=text)
    text = (
        f"{plant}: by {best.name}, {money(found.margin_per_plant, currency)} margin a plant, "
        f"{percent(found.healthy_two_weeks.mean)} healthy two weeks on"
    )
    if found.wanted is not None and found.wanted.quantity is not None:
        sure = f"{found.wanted.wanted_healthy:,} healthy with {percent(found.wanted.confidence)} chance"
        text += f"; order {found.wanted.quantity:,} for {sure}"
    elif found.wanted is not None:
        text += f"; no order up to 10,000 leaves {found.wanted.wanted_healthy:,} healthy as surely as wanted"
    return WishAdvice(line=i, route=best.name, text=f"{text}.")
