"""The demonstration as text: before and after learning, what changed and why, and one hold."""

from collections.abc import Sequence
from itertools import groupby
from math import log

from app.batch import seller_level
from app.cli.report import WIDTH, money, money_spread, percent, spread, table, wrapped
from app.learned import answer_model
from app.schemas import (
    CompareAnswer,
    CompareRequest,
    Effect,
    HoldAnswer,
    HoldDate,
    HoldRequest,
    ModelAnswer,
    ModelChance,
    Quantiles,
    RouteOutcome,
)
from app.serving import Engine

# An effect that moved by less is not worth a line.
LEAST_MOVE = 0.1
MOST_EFFECTS = 6
# Of the rules of thumb the one that importers quote.
RULE = "healthy_7_days"
AVERAGE = Quantiles(p10=1.0, p50=1.0, p90=1.0)


def demo_report(
    note: str,
    title: str,
    request: CompareRequest,
    answers: tuple[CompareAnswer, CompareAnswer],
    engines: tuple[Engine, Engine],
    hold: tuple[HoldRequest, HoldAnswer],
) -> str:
    """Return the demonstration: pairs are by the rules of thumb and after learning."""
    before, after = answers
    models = answer_model(engines[0]), answer_model(engines[1])
    plants = ", ".join(f"{line.quantity} {line.genus}" for line in request.lines)
    parts = [
        note,
        wrapped(f"{title}: {plants}. Money in {request.currency}; ranges are 5 % to 95 %, of days 10 % to 90 %."),
        "",
        *_headed("1. By rules of thumb alone"),
        wrapped(before.reason),
        "",
        _routes(request, before.routes),
        "",
        *_headed(f"2. The same, after learning from {models[1].boxes} boxes of this shop (boxes.csv, invented too)"),
        wrapped(after.reason),
        "",
        _routes(request, after.routes),
        "",
        *_headed("3. What changed, and why"),
        *(wrapped(text, "* ") for text in (*_outcomes(before, after), *_reasons(request, models))),
        "",
        *_headed("4. Ship now, or hold?"),
        *_hold(*hold),
        "",
        wrapped(
            f"Also in these answers: {len(after.cautions)} cautions and {len(after.assumed)} assumed values, each line "
            "of plants, a second batch: python -m app demo --full."
        ),
    ]
    return "\n".join(parts)


def _headed(title: str) -> list[str]:
    return [title, "-" * min(len(title), WIDTH)]


def _routes(request: CompareRequest, routes: Sequence[RouteOutcome]) -> str:
    sent = sum(line.quantity for line in request.lines)
    limit = f"lost <={percent(request.risk.max_loss_share)}"
    head = ("route", "days", f"healthy of {sent}", "2 weeks on", "dead", "landed", "margin", "range", limit)
    rows = [
        [
            route.name,
            f"{route.transit_days.p50:.1f} ({route.transit_days.p10:.1f}-{route.transit_days.p90:.1f})",
            spread(route.plants.healthy),
            f"{route.plants.healthy_two_weeks.mean:.1f}",
            f"{route.plants.dead.mean:.1f}",
            money(route.money.landed_cost),
            money(route.money.margin.mean),
            money_spread(route.money.margin),
            percent(route.chance_loss_within_limit),
        ]
        for route in routes
    ]
    return table(head, rows)


def _outcomes(before: CompareAnswer, after: CompareAnswer) -> list[str]:
    """Return what became of the advice and of each route."""
    if before.recommended == after.recommended:
        advice = f"The advice stays: {after.recommended or 'no route keeps within the loss that is bearable'}."
    else:
        advice = f"The advice turns from {before.recommended or 'none'} to {after.recommended or 'none'}."
    texts = [advice]
    for old, new in zip(before.routes, after.routes, strict=True):
        was, now = old.plants.healthy, new.plants.healthy
        texts.append(
            f"{new.name}: {was.mean:.1f} healthy at unboxing become {now.mean:.1f} (range {was.p05:.0f}-{was.p95:.0f}, "
            f"then {now.p05:.0f}-{now.p95:.0f}), two weeks on {old.plants.healthy_two_weeks.mean:.1f} become "
            f"{new.plants.healthy_two_weeks.mean:.1f}, and a margin of {money(old.money.margin.mean)} becomes "
            f"{money(new.money.margin.mean)}."
        )
    return texts


def _reasons(request: CompareRequest, models: tuple[ModelAnswer, ModelAnswer]) -> list[str]:
    """Return what was learned that bears on the batch: the common rule, times in transit, effects that moved."""
    old, new = ({rule.code: rule for rule in model.rules}[RULE] for model in models)
    texts = [
        f"All {models[1].boxes} boxes together: of average aroids {new.days:g} days in the box at {new.inside_c:g} °C, "
        f"{_share(new.model)} arrive healthy; the rules of thumb said {_share(old.model)}."
    ]
    late = models[1].late_loss
    mildest = late.shares[0]
    if mildest.learned is not None:
        dose = mildest.chill_dose_days
        chill = f"after a chill dose of {dose:g} days" if dose else "without any chill"
        texts.append(
            f"{late.boxes} boxes were looked at again two weeks on: {chill} {_share(mildest.learned)} of the healthy "
            f"plants had failed by then; the rules of thumb said {_share(mildest.rules)}."
        )
    services = {route.service for route in request.routes}
    lane = (request.origin, request.destination)
    texts += [
        f"{learned.text}."
        for learned in models[1].transit
        if learned.service in services and (learned.origin, learned.destination) == lane
    ]
    known = {(effect.kind, effect.name): effect.time_ratio for effect in models[0].effects}
    moved = []
    for effect in models[1].effects:
        if _bears_on(effect, request):
            # What the rules of thumb list no row of, they take as average.
            was = known.get((effect.kind, effect.name), AVERAGE)
            moved.append((abs(log(effect.time_ratio.p50 / was.p50)), was, effect))
    moved.sort(key=lambda entry: -entry[0])
    for move, was, effect in moved[:MOST_EFFECTS]:
        if move > log(1.0 + LEAST_MOVE):
            before = "average" if was is AVERAGE else f"{was.p50:.1f}, 80 % {was.p10:.1f}-{was.p90:.1f}"
            texts.append(f"{effect.text}; before: {before}.")
    return texts


def _share(chance: ModelChance) -> str:
    return f"{percent(chance.mean)} ({100 * chance.low:.0f}-{100 * chance.high:.0f})"


def _bears_on(effect: Effect, request: CompareRequest) -> bool:
    """Whether an effect with boxes is that of a genus, the seller or a service of the batch."""
    names: dict[str, set[str]] = {
        "genus": {line.genus for line in request.lines},
        "seller": {seller_level(request.seller) or ""},
        "service": {route.service for route in request.routes},
        "seller_kind": {request.seller_kind} if request.seller_kind else set(),
    }
    return effect.evidence.boxes > 0 and effect.name in names.get(effect.kind, set())


def _hold(request: HoldRequest, answer: HoldAnswer) -> list[str]:
    """Return the advice and a row a day, each route's mean margin and what bears on the day."""
    names = [route.name for route in request.routes]
    head = ("ship date", *(f"{name}: healthy, margin" for name in names), "beats first", "")
    rows = []
    for day, entries in groupby(answer.dates, key=lambda entry: entry.ship_date):
        by_route: dict[str, HoldDate] = {entry.route: entry for entry in entries}
        first = by_route[names[0]]
        if "skipped_weekday" in first.blocked_by:
            continue
        chosen = answer.recommended is not None and answer.recommended.ship_date == day
        best = by_route[answer.recommended.route if answer.recommended else names[0]]
        blocked = sorted({why.replace("_", " ") for entry in by_route.values() for why in entry.blocked_by})
        rows.append(
            [
                f"{day:%a %d %b}",
                *(f"{entry.healthy_mean:.1f}, {money(entry.margin_mean)}" for entry in by_route.values()),
                percent(best.chance_better_than_first),
                ", ".join(blocked) or ("advised" if chosen else ""),
            ]
        )
    forecast = [
        f"With a forecast for {place} from {min(day.date for day in days)} to {max(day.date for day in days)}: "
        f"{min(day.min_c for day in days):.0f} to {max(day.max_c for day in days):.0f} °C, which 1 and 2 did not have."
        for place, days in request.forecast.items()
    ]
    healthy = "In the table healthy plants are those at unboxing, on average."
    return [*map(wrapped, forecast), wrapped(answer.reason), healthy, "", table(head, rows)]
