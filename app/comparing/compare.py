"""Compare routes for a batch."""

import numpy as np

from app.comparing.batch_cautions import asked_cautions, closing_cautions, journey_cautions, layover_cautions
from app.comparing.reasons import compare_reason
from app.comparing.simulated import SimulatedBatch, SimulatedRoute, _other_travel
from app.comparing.splitting import splitting
from app.comparing.summaries import distribution, inside_by_day, strip
from app.schemas import (
    BreakEven,
    CompareAnswer,
    CompareRequest,
    EquivalentDays,
    InsideQuantiles,
    LineOutcome,
    MeanQuantiles,
    Money,
    MoneyItem,
    PlantCounts,
    RouteOutcome,
    RulesOnly,
)
from app.serving import Engine
from model.decision import (
    LandedCost,
    RouteEconomics,
    break_even,
    chance_best,
    chance_loss_within_limit,
    choose_route,
    cost_per_healthy_plant,
    overtakes,
    worst_share_mean,
)

# A break-even or an order past this many plants is none.
MOST_PLANTS = 10_000
# Enough to stand beside an answer, at a quarter of its cost.
RULES_DRAWS = 1024


def answer_compare(request: CompareRequest, engine: Engine) -> CompareAnswer:
    """Return the routes side by side, the recommended one with its reason, and what was assumed."""
    batch = SimulatedBatch(request, engine)
    return answer_simulated(batch, [batch.simulate(route) for route in batch.prepared.routes])


def answer_simulated(batch: SimulatedBatch, simulated: list[SimulatedRoute]) -> CompareAnswer:
    """Return the answer about the routes of a batch, all of them simulated."""
    request, engine, prepared = batch.request, batch.engine, batch.prepared
    best = chance_best(np.stack([s.money.margin for s in simulated], axis=1))
    outcomes = []
    by_rules = _rules_only(request, engine)
    for s, chance, by_rule in zip(simulated, best, by_rules, strict=True):
        outcome = _outcome(request, s, float(chance)).model_copy(update={"rules_only": by_rule})
        if s.route.plan.n_boxes > 1:
            other = batch.simulate(_other_travel(s.route))
            outcome = outcome.model_copy(update={"splitting": splitting(request, s, other)})
        outcomes.append(outcome)
    choice = choose_route(
        [o.name for o in outcomes],
        [o.money.margin.mean for o in outcomes],
        [o.chance_loss_within_limit for o in outcomes],
        request.risk.confidence,
    )
    cautions = asked_cautions(request, prepared, engine) + layover_cautions(prepared, request.ship_date)
    for s in simulated:
        cautions += journey_cautions(request, prepared, s.route, s.drawn, engine.reference)
    return CompareAnswer(
        model_version=engine.model_version,
        seed=request.seed,
        draws=request.draws,
        recommended=choice.recommended,
        reason=compare_reason(request, outcomes, choice),
        assumed=list(prepared.assumed),
        routes=outcomes,
        break_even=_break_even(request, simulated),
        cautions=cautions + closing_cautions(prepared),
    )


def _rules_only(request: CompareRequest, engine: Engine) -> list[RulesOnly | None]:
    """Return what the rules of thumb alone say of each route, where asked for and not the answer already."""
    if not request.rules_beside or engine.fit is None:
        return [None] * len(request.routes)
    rules = Engine.of_rules(engine.reference)
    smaller = request.model_copy(update={"draws": min(request.draws, RULES_DRAWS)})
    batch = SimulatedBatch(smaller, rules)
    simulated = map(batch.simulate, batch.prepared.routes)
    healthy = [(s.drawn.healthy.sum(axis=1), s.money.margin) for s in simulated]
    return [
        RulesOnly(healthy=distribution(count), healthy_strip=strip(count), margin=distribution(margin))
        for count, margin in healthy
    ]


def money_items(cost: LandedCost) -> list[MoneyItem]:
    """Return the items of a landed cost as they are printed."""
    return [MoneyItem(code=item.code, text=item.text, amount=float(item.amount)) for item in cost.items]


def _outcome(request: CompareRequest, s: SimulatedRoute, chance_of_best: float) -> RouteOutcome:
    drawn, money = s.drawn, s.money
    sent = sum(line.quantity for line in request.lines)
    healthy, dead = drawn.healthy.sum(axis=1), drawn.dead.sum(axis=1)
    two_weeks = drawn.healthy_two_weeks.sum(axis=1)
    p10, p50, p90 = np.quantile(drawn.days, [0.1, 0.5, 0.9])
    inside = np.quantile(drawn.inside_c, [0.05, 0.5, 0.95])
    equivalent = np.quantile(drawn.equivalent_days[list(set(drawn.line_genus))], [0.1, 0.5, 0.9])
    return RouteOutcome(
        name=s.route.asked.name,
        boxes=s.route.plan.n_boxes,
        transit_days=MeanQuantiles(mean=drawn.days.mean(), p10=p10, p50=p50, p90=p90),
        inside_c=InsideQuantiles(p05=inside[0], p50=inside[1], p95=inside[2]),
        inside_by_day=inside_by_day(s.drawn),
        equivalent_days=EquivalentDays(p10=equivalent[0], p50=equivalent[1], p90=equivalent[2]),
        plants=PlantCounts(
            sent=sent,
            healthy=distribution(healthy),
            damaged=distribution(drawn.damaged.sum(axis=1)),
            dead=distribution(dead),
            healthy_two_weeks=distribution(two_weeks),
            chance_none_healthy=float(np.mean(healthy == 0)),
            healthy_strip=strip(healthy),
        ),
        chance_loss_within_limit=chance_loss_within_limit(dead, sent, request.risk.max_loss_share),
        money=Money(
            items=money_items(money.cost),
            landed_cost=float(money.cost.total),
            recovered_mean=money.recovered.mean(),
            margin=distribution(money.margin),
            worst_5pct_margin=worst_share_mean(money.margin),
            cost_per_healthy_plant=cost_per_healthy_plant(money.cost.total, money.recovered, two_weeks),
        ),
        chance_best=chance_of_best,
        splitting=None,
        rules_only=None,
        lines=[
            LineOutcome(
                genus=line.genus,
                cultivar=line.cultivar,
                quantity=line.quantity,
                healthy=distribution(drawn.healthy[:, i]),
                damaged=distribution(drawn.damaged[:, i]),
                dead=distribution(drawn.dead[:, i]),
                margin_mean=money.line_margin[i],
            )
            for i, line in enumerate(request.lines)
        ],
    )


def _break_even(request: CompareRequest, simulated: list[SimulatedRoute]) -> BreakEven | None:
    """Return where the fastest route overtakes the cheapest to ship, or the other way round; None if neither does."""
    if len(simulated) == 1:
        return None
    cheapest = min(simulated, key=lambda s: s.money.cost.total)
    fastest = min((s for s in simulated if s is not cheapest), key=lambda s: s.drawn.days.mean())
    economics = [
        RouteEconomics.of(
            s.route.asked.name,
            s.money.waybill,
            float(s.money.margin.mean()),
            capacity=s.route.capacity,
            apart=s.route.asked.travel == "apart",
        )
        for s in (cheapest, fastest)
    ]
    quantities = [line.quantity for line in request.lines]
    sale_values = [line.sale_value for line in request.lines]
    found = break_even(*economics, quantities=quantities, sale_values=sale_values, max_plants=MOST_PLANTS)
    if found is None:
        value = float(np.dot(quantities, sale_values)) / sum(quantities)
        found = overtakes(economics[1], economics[0], sale_value_per_plant=value, max_plants=MOST_PLANTS)
    if found is None:
        return None
    return BreakEven(**{"from": found.from_}, to=found.to, batch_sale_value=found.batch_sale_value, plants=found.plants)
