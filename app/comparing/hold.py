"""Ship now or hold: every allowed date on every route, with common random numbers."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.batch import (
    WEEKDAYS,
    PreparedBatch,
    PreparedRoute,
    WeatherDraws,
    caution,
    drift_quarter,
    origin_layover,
    prepare,
)
from app.comparing.batch_cautions import all_cautions
from app.comparing.departures import Departure, Departures, chosen_departure, departures_of
from app.comparing.hold_reasons import hold_reason
from app.comparing.money import route_money
from app.comparing.remedies import with_acts
from app.comparing.simulated import SimulatedBatch
from app.comparing.simulation import BatchSimulation, shared_draws
from app.comparing.summaries import answered, distribution
from app.comparing.work_limit import REMEDIES, REMEDY_DRAWS, with_fitting_draws, work_of
from app.schemas import (
    AgainstFirst,
    Assumed,
    Batch,
    BlockedBy,
    Caution,
    CompareRequest,
    DayWeather,
    HoldAnswer,
    HoldChoice,
    HoldDate,
    HoldRequest,
)
from app.serving import Engine
from app.side_by_side import side_by_side
from model.decision import chance_better, chance_loss_within_limit, summarise

LAYOVER_WEEKDAYS = (4, 5, 6)


def answer_hold(request: HoldRequest, engine: Engine, from_record: Sequence[Assumed] = ()) -> HoldAnswer:
    """Return every ship date and route, the recommended one, and why.

    `from_record` is what was filled in from the record of the seller.
    """
    prepared = prepare(request, engine, request.earliest, from_record, last_date=request.latest)
    span = (request.latest - request.earliest).days
    plans = [route.plan for route in prepared.routes]
    request = with_fitting_draws(request, work_of(prepared, plans, n_dates=span + 1, n_remedies=REMEDIES))
    simulation, weather = shared_draws(request, prepared, engine, request.earliest, span_days=span)
    departures = departures_of(
        side_by_side(
            lambda leaves: _departure(request, prepared, *leaves, simulation, weather),
            [(route, request.earliest + timedelta(days=day)) for day in range(span + 1) for route in prepared.routes],
        )
    )
    chosen = chosen_departure(request, departures)
    lead, reason = hold_reason(request, departures, chosen)
    return HoldAnswer(
        model_version=engine.model_version,
        seed=request.seed,
        draws=request.draws,
        recommended=HoldChoice(ship_date=chosen.ship_date, route=chosen.route) if chosen else None,
        lead=lead,
        reason=reason,
        dates=_dates(departures),
        assumed=[*prepared.assumed, *_assumed(request, prepared)],
        not_counted=prepared.not_counted,
        cautions=_cautions(request, prepared, engine, chosen or _best(departures)),
    )


def _departure(
    request: HoldRequest,
    prepared: PreparedBatch,
    route: PreparedRoute,
    ship_date: date,
    simulation: BatchSimulation,
    weather: WeatherDraws,
) -> Departure:
    layover = origin_layover(route.plan.lane, route.plan.calendar, ship_date)
    journeys = simulation.journeys(route.plan, ship_date, weather, layover_days=layover)
    drawn = simulation.outcomes(replace(route.plan, quarter=drift_quarter(request.seller, ship_date)), journeys)
    waited = max((ship_date - max(request.earliest, request.today or request.earliest)).days, 0)
    waiting = waited * (request.cost_per_day or 0.0)
    result = route_money(request, prepared, route, drawn, waiting=waiting, days_waited=waited)
    healthy, sent = drawn.healthy.sum(axis=1), sum(line.quantity for line in request.lines)
    blocked = _blocked_by(request, ship_date)
    if request.needed_by is not None:
        in_time = _chance_by(route, ship_date, drawn.days, request.needed_by)
        if in_time < request.risk.confidence:
            blocked.append("too_late")
    return Departure(
        ship_date=ship_date,
        route=route.asked.name,
        healthy=summarise(healthy),
        two_weeks=drawn.healthy_two_weeks.sum(axis=1).astype(np.int32),
        margin=result.margin,
        margin_mean=float(result.margin.mean()),
        landed_cost=float(result.cost.total),
        waiting=waiting,
        chance_loss_within_limit=chance_loss_within_limit(drawn.dead.sum(axis=1), sent, request.risk.max_loss_share),
        blocked_by=blocked,
        weather=_weather(route, ship_date, weather, float(np.median(drawn.days))),
    )


def _best(departures: Departures) -> Departure:
    """Return the departure that cautions are about where none is taken."""
    return max(departures.open() or departures.all, key=lambda departure: departure.margin_mean)


def _dates(departures: Departures) -> list[HoldDate]:
    """Return the answers about all departures; each is held against the first open one of its route, from there on."""
    dates = []
    passed: set[str] = set()
    for departure, group in zip(departures.all, departures.group, strict=True):
        first = departures.first[departure.route] if departure.route in passed else None
        dates.append(
            HoldDate(
                ship_date=departure.ship_date,
                route=departure.route,
                healthy=answered(departure.healthy),
                healthy_two_weeks=distribution(departure.two_weeks),
                margin=distribution(departure.margin),
                healthy_mean=departure.healthy.mean,
                margin_mean=departure.margin_mean,
                chance_loss_within_limit=departure.chance_loss_within_limit,
                chance_better_than_first=chance_better(departure.margin, first.margin) if first else None,
                against_first=_against(departure, first, departures) if first else None,
                group=group,
                blocked_by=departure.blocked_by,
                weather=departure.weather,
            )
        )
        if departure is departures.first.get(departure.route):
            passed.add(departure.route)
    return dates


def _against(departure: Departure, first: Departure, departures: Departures) -> AgainstFirst:
    return AgainstFirst(
        margin=distribution(departure.margin - first.margin),
        healthy_two_weeks=distribution(departure.two_weeks - first.two_weeks),
        noise=departures.noise(departure, first),
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
    if request.today is not None and ship_date < request.today:
        blocked.append("past")
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


def _cautions(request: HoldRequest, prepared: PreparedBatch, engine: Engine, departure: Departure) -> list[Caution]:
    """Return the cautions of the batch as it would leave with a departure, and those of waiting."""
    asked = {name: getattr(request, name) for name in Batch.model_fields}
    on_day = CompareRequest.model_construct(**asked, ship_date=departure.ship_date)
    batch = SimulatedBatch(on_day, prepared, engine, draws=min(REMEDY_DRAWS, request.draws))
    followed = [(s.route, s.drawn) for s in batch.routes()]
    cautions = [
        *_hold_cautions(request),
        *all_cautions(on_day, prepared, engine, departure.ship_date, followed),
    ]
    advised = next(i for i, route in enumerate(request.routes) if route.name == departure.route)
    return with_acts(batch, advised, cautions)


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
