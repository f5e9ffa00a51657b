"""What to order: each line of a wish list on each route, what it brings, and how many reach what is wanted."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from app.batch import money, percent, prepare
from app.comparing.batch_cautions import all_cautions
from app.comparing.order_choice import OrderChoice, best_order, least_cost
from app.comparing.order_leads import KeptByBudget, plant, wish_list_lead
from app.comparing.order_size import Order, RouteChances, order_of
from app.comparing.simulated import SimulatedBatch, SimulatedRoute
from app.comparing.summaries import distribution
from app.schemas import (
    Assumed,
    BestOrder,
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
from model.reference import HIGH, LOW

Array = NDArray[np.float64]

COST_SHARES = (
    "Each line bears its own plants with their duty and tax; freight, handling, papers and everything else are shared "
    "equally between the plants of the batch."
)


@dataclass(frozen=True, slots=True, eq=False)
class _LineResult:
    """What one line brings on one route.

    `margin` is its mean; `order` is the one that reaches what is wanted of the line, None where nothing is wanted or
    no order does.
    """

    healthy: ChanceInterval
    healthy_two_weeks: ChanceInterval
    margin: float
    margin_per_plant: float
    gain_if_left_out: float
    order: Order | None


def answer_wish_list(request: WishListRequest, engine: Engine, from_record: Sequence[Assumed] = ()) -> WishListAnswer:
    """Return what each line brings on each route, where to order it, and how many.

    `from_record` is what was filled in from the record of the seller.
    """
    n_wanted = sum(line.wanted_healthy is not None for line in request.lines)
    prepared = prepare(request, engine, request.ship_date, from_record)
    batch = SimulatedBatch(request, prepared, engine, n_searches=n_wanted * len(prepared.routes))
    simulated = batch.routes()
    results = {s.route.asked.name: _results(request, batch, s) for s in simulated}
    followed = [(s.route, s.drawn) for s in simulated]
    best = best_order(request, simulated)
    return WishListAnswer(
        model_version=engine.model_version,
        seed=request.seed,
        draws=batch.request.draws,
        lead=wish_list_lead(request, best, _kept_by_budget(request, best, simulated)),
        best=None if best is None else BestOrder(**asdict(best) | {"quantities": list(best.quantities)}),
        cost_shares=COST_SHARES,
        advice=[_advice(request, i, results) for i in range(len(request.lines))],
        routes=[_route(request, s, results[s.route.asked.name]) for s in simulated],
        assumed=batch.prepared.assumed,
        not_counted=batch.prepared.not_counted,
        cautions=all_cautions(request, batch.prepared, engine, request.ship_date, followed),
    )


def _kept_by_budget(
    request: WishListRequest, best: OrderChoice | None, simulated: Sequence[SimulatedRoute]
) -> KeptByBudget | None:
    """Return what the budget alone keeps from being ordered; None where it is not the budget."""
    if best is not None or request.budget is None:
        return None
    unlimited = best_order(request.model_copy(update={"budget": None}), simulated)
    return None if unlimited is None else KeptByBudget(unlimited, least_cost(request, simulated))


def _results(request: WishListRequest, batch: SimulatedBatch, s: SimulatedRoute) -> list[_LineResult]:
    chances = RouteChances(batch, s.route)
    healthy, two_weeks = _mean_chances(batch, s)
    return [
        _LineResult(
            healthy=_interval(healthy[i]),
            healthy_two_weeks=_interval(two_weeks[i]),
            margin=float(s.money.line_margin[i]),
            margin_per_plant=float(s.money.line_margin[i]) / line.quantity,
            gain_if_left_out=_gain_if_left_out(request, s, i),
            order=_order(request, i, line, chances),
        )
        for i, line in enumerate(request.lines)
    ]


def _route(request: WishListRequest, s: SimulatedRoute, results: Sequence[_LineResult]) -> WishRoute:
    outcomes = []
    for i, (line, result) in enumerate(zip(request.lines, results, strict=True)):
        share, recovered = float(s.money.line_cost[i]), s.money.line_recovered[:, i]
        gain, loses_money = result.gain_if_left_out, result.margin < 0
        outcomes.append(
            WishOutcome(
                line=i,
                genus=line.genus,
                cultivar=line.cultivar,
                quantity=line.quantity,
                healthy=result.healthy,
                healthy_two_weeks=result.healthy_two_weeks,
                landed_cost=share,
                recovered_mean=float(recovered.mean()),
                cost_per_healthy_plant=cost_per_healthy_plant(share, recovered, s.drawn.healthy_two_weeks[:, i]),
                margin_mean=result.margin,
                margin_per_plant=result.margin_per_plant,
                loses_money=loses_money,
                reason=_why(request, s, i, gain) if loses_money else None,
                gain_if_left_out=gain,
                wanted=_wanted(line, result.order),
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


def _order(request: WishListRequest, i: int, line: WishLine, chances: RouteChances) -> Order | None:
    if line.wanted_healthy is None:
        return None
    return order_of(request, Target(line=i, healthy=line.wanted_healthy, confidence=line.confidence), chances)


def _wanted(line: WishLine, order: Order | None) -> WantedOrder | None:
    if line.wanted_healthy is None:
        return None
    return WantedOrder(
        wanted_healthy=line.wanted_healthy,
        confidence=line.confidence,
        quantity=order.quantity if order else None,
        boxes=order.boxes if order else None,
        chance=order.chance if order else None,
        landed_cost=float(order.cost.total) if order else None,
    )


def _advice(request: WishListRequest, i: int, results: Mapping[str, Sequence[_LineResult]]) -> WishAdvice:
    name = max(results, key=lambda name: results[name][i].margin_per_plant)
    found, line, currency = results[name][i], request.lines[i], request.currency
    if found.margin < 0:
        on = f"on {name}" if len(results) == 1 else f"on every route, least on {name}"
        text = f"{plant(line)}: loses money {on}, {money(-found.margin_per_plant, currency)} a plant."
        return WishAdvice(line=i, route=None, text=text)
    text = (
        f"{plant(line)}: by {name}, {money(found.margin_per_plant, currency)} margin a plant, "
        f"{percent(found.healthy_two_weeks.mean)} healthy two weeks on"
    )
    if line.wanted_healthy is not None and found.order is not None:
        sure = f"{line.wanted_healthy:,} healthy with {percent(line.confidence)} chance"
        text += f"; order {found.order.quantity:,} for {sure}"
    elif line.wanted_healthy is not None:
        text += f"; no order up to 10,000 leaves {line.wanted_healthy:,} healthy as surely as wanted"
    return WishAdvice(line=i, route=name, text=f"{text}.")
