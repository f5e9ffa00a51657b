"""Compare routes for a batch."""

from collections.abc import Sequence

import numpy as np

from app.batch import caution, prepare
from app.comparing.batch_cautions import all_cautions
from app.comparing.choice import advised, choose
from app.comparing.reasons import compare_reason
from app.comparing.remedies import with_acts
from app.comparing.results import RouteResult, route_results
from app.comparing.simulated import SimulatedBatch, SimulatedRoute
from app.comparing.summaries import INSIDE_LEVELS, answered, distribution, inside_by_day, money_items, strip
from app.comparing.work_limit import REMEDIES
from app.schemas import (
    Assumed,
    BreakEven,
    CompareAnswer,
    CompareRequest,
    EquivalentDays,
    InsideQuantiles,
    LineOutcome,
    MeanQuantiles,
    Money,
    PlantCounts,
    RouteOutcome,
    RulesOnly,
)
from app.serving import Engine
from model.decision import (
    RouteEconomics,
    break_even,
    cost_per_healthy_plant,
    overtakes,
    quantiles,
)
from model.reference import QUANTILES

# A break-even or an order past this many plants is none.
MOST_PLANTS = 10_000
# Enough to stand beside an answer, at a quarter of its cost.
RULES_DRAWS = 1024


def answer_compare(request: CompareRequest, engine: Engine, from_record: Sequence[Assumed] = ()) -> CompareAnswer:
    """Return the routes side by side, the recommended one with its reason, and what was assumed.

    `from_record` is what was filled in from the record of the seller.
    """
    prepared = prepare(request, engine, request.ship_date, from_record)
    batch = SimulatedBatch(request, prepared, engine, n_remedies=REMEDIES)
    request = batch.request
    simulated = batch.routes()
    results = route_results(batch, simulated)
    choice = choose(request, results)
    shown = results[advised(results, choice)]
    lead, reason = compare_reason(request, results, choice)
    followed = [(s.route, s.drawn) for s in simulated]
    cautions = all_cautions(request, prepared, engine, request.ship_date, followed)
    if shown.splitting is not None and shown.worth_apart is not None:
        cautions.append(caution("boxes_apart", route=shown.name, text=shown.splitting.text.removesuffix(".")))
    return CompareAnswer(
        model_version=engine.model_version,
        seed=request.seed,
        draws=request.draws,
        recommended=None if choice.recommended is None else results[choice.recommended].name,
        lead=lead,
        reason=reason,
        assumed=prepared.assumed,
        not_counted=prepared.not_counted,
        routes=route_outcomes(batch, results),
        break_even=_break_even(request, simulated),
        cautions=with_acts(batch, results.index(shown), cautions, shown.worth_apart),
    )


def route_outcomes(batch: SimulatedBatch, results: Sequence[RouteResult]) -> list[RouteOutcome]:
    """Return the answers about the routes of a batch, what the rules of thumb alone say beside them where asked for."""
    missing = [batch.prepared.costs_missing(i) for i in range(len(results))]
    return [
        _outcome(batch.request, result, by_rules, without)
        for result, by_rules, without in zip(results, _by_rules(batch), missing, strict=True)
    ]


def _by_rules(batch: SimulatedBatch) -> Sequence[RulesOnly | None]:
    """Return what the rules of thumb alone say of each route, where asked for and not the answer already."""
    if not batch.request.rules_beside or batch.engine.rules_alone:
        return [None] * len(batch.request.routes)
    outcomes = []
    by_rules = batch.by_rules(min(batch.request.draws, RULES_DRAWS))
    for route in by_rules.prepared.routes:
        s = by_rules.simulate(route)
        count = s.drawn.healthy.sum(axis=1)
        margin = distribution(s.money.margin)
        two_weeks = s.drawn.healthy_two_weeks.sum(axis=1)
        outcomes.append(
            RulesOnly(
                healthy=distribution(count),
                healthy_strip=strip(count),
                healthy_two_weeks=distribution(two_weeks),
                two_weeks_strip=strip(two_weeks),
                margin=margin,
            )
        )
    return outcomes


def _outcome(
    request: CompareRequest, result: RouteResult, rules_only: RulesOnly | None, costs_missing: Sequence[str]
) -> RouteOutcome:
    s = result.simulated
    drawn, money = s.drawn, s.money
    healthy = drawn.healthy.sum(axis=1)
    p10, p50, p90 = quantiles(drawn.days, QUANTILES)
    inside = quantiles(drawn.inside_c, INSIDE_LEVELS)
    equivalent = quantiles(drawn.equivalent_days[list(set(drawn.line_genus))].ravel(), QUANTILES)
    return RouteOutcome(
        name=result.name,
        boxes=s.route.plan.n_boxes,
        transit_days=MeanQuantiles(mean=drawn.days.mean(), p10=p10, p50=p50, p90=p90),
        inside_c=InsideQuantiles(p05=inside[0], p50=inside[1], p95=inside[2]),
        inside_by_day=inside_by_day(s.drawn),
        equivalent_days=EquivalentDays(p10=equivalent[0], p50=equivalent[1], p90=equivalent[2]),
        plants=PlantCounts(
            sent=result.sent,
            healthy=distribution(healthy),
            damaged=distribution(drawn.damaged.sum(axis=1)),
            dead=distribution(drawn.dead.sum(axis=1)),
            healthy_two_weeks=answered(result.healthy_two_weeks),
            chance_none_healthy=float(np.mean(healthy == 0)),
            healthy_strip=strip(healthy),
            two_weeks_strip=strip(drawn.healthy_two_weeks.sum(axis=1)),
        ),
        chance_loss_within_limit=result.chance_loss_within_limit,
        money=Money(
            items=money_items(money.cost),
            landed_cost=float(money.cost.total),
            without=f"without {', '.join(costs_missing)}: not given" if costs_missing else None,
            recovered_mean=money.recovered.mean(),
            margin=answered(result.margin),
            worst_5pct_margin=result.worst,
            cost_per_healthy_plant=cost_per_healthy_plant(
                money.cost.total, money.recovered, drawn.healthy_two_weeks.sum(axis=1)
            ),
        ),
        chance_best=result.chance_best,
        splitting=result.splitting,
        rules_only=rules_only,
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
            apart=s.route.apart,
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
