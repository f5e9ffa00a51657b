"""Ship now or hold: every allowed date on every route, with common random numbers."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.batch import (
    PreparedBatch,
    PreparedRoute,
    WeatherDraws,
    bearable,
    caution,
    drift_quarter,
    money,
    percent,
    prepare,
)
from app.comparing.batch_cautions import asked_cautions, closing_cautions
from app.comparing.money import route_money
from app.comparing.reasons import bad_boxes
from app.comparing.simulation import BatchSimulation, shared_draws
from app.comparing.summaries import answered, distribution
from app.comparing.work_limit import check_work
from app.schemas import Assumed, BlockedBy, Caution, DayWeather, HoldAnswer, HoldChoice, HoldDate, HoldRequest
from app.serving import Engine
from model.decision import Summary, chance_better, chance_loss_within_limit, summarise

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LAYOVER_WEEKDAYS = (4, 5, 6)
# A mean difference of paired draws within so many standard errors is noise.
NOISE_SE = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class _Departure:
    """One date on one route; `margin` is (draws,)."""

    ship_date: date
    route: str
    healthy: Summary
    margin: NDArray[np.float64]
    margin_mean: float
    chance_loss_within_limit: float
    blocked_by: list[BlockedBy]
    weather: list[DayWeather]


def answer_hold(request: HoldRequest, engine: Engine, from_record: Sequence[Assumed] = ()) -> HoldAnswer:
    """Return every ship date and route, the recommended one, and why.

    `from_record` is what was filled in from the record of the seller.
    """
    prepared = prepare(request, engine, request.earliest, from_record)
    span = (request.latest - request.earliest).days
    check_work(request.draws, prepared, [route.plan for route in prepared.routes], n_dates=span + 1)
    simulation, weather = shared_draws(request, prepared, engine, request.earliest, span_days=span)
    departures = [
        _departure(request, prepared, route, request.earliest + timedelta(days=day), simulation, weather)
        for day in range(span + 1)
        for route in prepared.routes
    ]
    better = _better_than_first(departures)
    choice = _choose(request, departures)
    return HoldAnswer(
        model_version=engine.model_version,
        seed=request.seed,
        draws=request.draws,
        recommended=HoldChoice(ship_date=choice.ship_date, route=choice.route) if choice else None,
        reason=_reason(request, departures, better, choice),
        dates=[_answered(departure, chance) for departure, chance in zip(departures, better, strict=True)],
        assumed=[*prepared.assumed, *_assumed(request, prepared)],
        cautions=asked_cautions(request, prepared, engine) + _hold_cautions(request) + closing_cautions(prepared),
    )


def _departure(
    request: HoldRequest,
    prepared: PreparedBatch,
    route: PreparedRoute,
    ship_date: date,
    simulation: BatchSimulation,
    weather: WeatherDraws,
) -> _Departure:
    layover = route.plan.lane.service.layover_days(ship_date.weekday())
    journeys = simulation.journeys(route.plan, ship_date, weather, request.closed_dates, layover_days=layover)
    drawn = simulation.outcomes(replace(route.plan, quarter=drift_quarter(request.seller, ship_date)), journeys)
    waited = (ship_date - request.earliest).days
    waiting = waited * (request.cost_per_day or 0.0)
    result = route_money(request, prepared, route, drawn, waiting=waiting, days_waited=waited)
    healthy, sent = drawn.healthy.sum(axis=1), sum(line.quantity for line in request.lines)
    blocked = _blocked_by(request, ship_date)
    if request.needed_by is not None:
        in_time = _chance_by(route, ship_date, drawn.days, request.needed_by)
        if in_time < request.risk.confidence:
            blocked.append("too_late")
    return _Departure(
        ship_date=ship_date,
        route=route.asked.name,
        healthy=summarise(healthy),
        margin=result.margin,
        margin_mean=float(result.margin.mean()),
        chance_loss_within_limit=chance_loss_within_limit(drawn.dead.sum(axis=1), sent, request.risk.max_loss_share),
        blocked_by=blocked,
        weather=_weather(route, ship_date, weather, float(np.median(drawn.days))),
    )


def _answered(departure: _Departure, better_than_first: float | None) -> HoldDate:
    return HoldDate(
        ship_date=departure.ship_date,
        route=departure.route,
        healthy=answered(departure.healthy),
        margin=distribution(departure.margin),
        healthy_mean=departure.healthy.mean,
        margin_mean=departure.margin_mean,
        chance_loss_within_limit=departure.chance_loss_within_limit,
        chance_better_than_first=better_than_first,
        blocked_by=departure.blocked_by,
        weather=departure.weather,
    )


def _weather(route: PreparedRoute, ship_date: date, weather: WeatherDraws, days: float) -> list[DayWeather]:
    """Return the days along the route; the hub is passed half-way, and left out where the lane has none."""
    lane = route.plan.lane
    roles: list[tuple[Literal["origin", "hub", "destination"], float]] = [("origin", 0.0), ("destination", days)]
    if lane.places["hub"] is not lane.places["destination"]:
        roles.insert(1, ("hub", 0.5 * days))
    passed = []
    for role, after in roles:
        day = lane.local(lane.closing(ship_date) + timedelta(days=after), role).date()
        low, high, is_forecast = weather.expected(lane.places[role], day)
        passed.append(
            DayWeather(
                role=role,
                place=lane.places[role].iata,
                date=day,
                min_c=low,
                max_c=high,
                source="forecast" if is_forecast else "normals",
            )
        )
    return passed


def _blocked_by(request: HoldRequest, ship_date: date) -> list[BlockedBy]:
    blocked: list[BlockedBy] = []
    certificate, treatment = request.certificate, request.treatment
    if certificate and not 0 <= (ship_date - certificate.issued).days <= certificate.valid_days:
        blocked.append("certificate_lapsed")
    if treatment and not 0 <= (ship_date - treatment.done).days <= treatment.valid_days:
        blocked.append("treatment_lapsed")
    if WEEKDAYS[ship_date.weekday()] in request.skip_weekdays:
        blocked.append("skipped_weekday")
    return blocked


def _chance_by(route: PreparedRoute, ship_date: date, days: NDArray[np.float64], needed_by: date) -> float:
    """Return the chance that the box is opened by the end of a day at the destination."""
    lane = route.plan.lane
    closed = lane.local(lane.closing(ship_date), "destination")
    passed = (closed.hour + closed.minute / 60.0) / 24.0
    return float(np.mean(passed + days < (needed_by - closed.date()).days + 1))


def _better_than_first(departures: Sequence[_Departure]) -> list[float | None]:
    """Return for each date the chance of a better margin than the first open one of its route; None up to that."""
    first: dict[str, _Departure] = {}
    chances: list[float | None] = []
    for departure in departures:
        reference = first.get(departure.route)
        chances.append(None if reference is None else chance_better(departure.margin, reference.margin))
        if not departure.blocked_by:
            first.setdefault(departure.route, departure)
    return chances


def _choose(request: HoldRequest, departures: Sequence[_Departure]) -> _Departure | None:
    """Return the open date with the best mean margin that keeps the bearable loss and does not lose money.

    An earlier date whose mean margin is not lower beyond the noise of the simulation is as good.
    """
    good = [
        departure
        for departure in departures
        if not departure.blocked_by
        and departure.chance_loss_within_limit >= request.risk.confidence
        and departure.margin_mean >= 0
    ]
    if not good:
        return None
    best = max(good, key=lambda departure: departure.margin_mean)
    return next(departure for departure in good if departure is best or _as_good(departure, best))


def _as_good(departure: _Departure, best: _Departure) -> bool:
    gap = best.margin - departure.margin
    noise = float(gap.std()) / np.sqrt(len(gap))
    return departure.route == best.route and float(gap.mean()) <= NOISE_SE * noise


def _reason(
    request: HoldRequest,
    departures: Sequence[_Departure],
    chances_better: Sequence[float | None],
    choice: _Departure | None,
) -> str:
    allowed = [departure for departure in departures if not departure.blocked_by]
    if not allowed:
        return "Every date is blocked: see blocked_by of each."
    sent = sum(line.quantity for line in request.lines)
    wanted = percent(request.risk.confidence)
    if choice is None:
        best = max(allowed, key=lambda departure: departure.margin_mean)
        if best.margin_mean < 0:
            return (
                f"Do not order at these prices: even on {best.ship_date} by {best.route} the margin averages "
                f"{money(best.margin_mean, request.currency)}."
            )
        safest = max(allowed, key=lambda departure: departure.chance_loss_within_limit)
        return (
            f"No date keeps the loss within {bearable(request)} with {wanted} chance and earns money. The least bad "
            f"is {safest.ship_date} by {safest.route} with {percent(safest.chance_loss_within_limit)}."
        )
    first = next(departure for departure in allowed if departure.route == choice.route)
    reason = (
        f"Ship on {choice.ship_date} by {choice.route}: {choice.healthy.mean:.0f} of {sent:,} plants are expected to "
        f"be healthy at unboxing and the margin averages {money(choice.margin_mean, request.currency)}"
    )
    if choice is first:
        return f"{reason}; no later date promises more."
    better = next(chance for one, chance in zip(departures, chances_better, strict=True) if one is choice) or 0.0
    gain = money(choice.margin_mean - first.margin_mean, request.currency)
    beats = f"holding beats shipping then with {percent(better)} chance{bad_boxes(better)}"
    return f"{reason}, {gain} more than on {first.ship_date}; {beats}."


def _assumed(request: HoldRequest, prepared: PreparedBatch) -> list[Assumed]:
    assumed = [
        Assumed(
            pointer=f"/routes/{i}/transit_days",
            value=", ".join(f"{WEEKDAYS[day]} +{service.layover_days(day):g}" for day in LAYOVER_WEEKDAYS),
            why="layover days added to the transit time of boxes closed towards the weekend (judgement, from memory)",
        )
        for i, service in enumerate(route.plan.lane.service for route in prepared.routes)
    ]
    if request.cost_per_day is None:
        assumed.append(Assumed(pointer="/cost_per_day", value=0.0, why="not given: waiting taken as free"))
    return assumed


def _hold_cautions(request: HoldRequest) -> list[Caution]:
    cautions = []
    if request.certificate:
        until = request.certificate.issued + timedelta(days=request.certificate.valid_days)
        if until < request.latest:
            cautions.append(caution("certificate_lapses", issued=request.certificate.issued, until=until))
    else:
        cautions.append(caution("certificate_age"))
    if request.treatment:
        until = request.treatment.done + timedelta(days=request.treatment.valid_days)
        if until < request.latest:
            cautions.append(caution("treatment_lapses", done=request.treatment.done, until=until))
    return cautions
