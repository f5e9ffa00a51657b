"""Cautions of a batch: from what was asked, and from what the simulation showed."""

from collections.abc import Callable, Sequence
from datetime import date

import numpy as np
from numpy.typing import NDArray

from app.batch import (
    PreparedBatch,
    PreparedRoute,
    caution,
    listed,
    missing_papers,
    of_journeys,
    origin_layover,
    percent,
    unpacking_cautions,
)
from app.comparing.simulation import RouteDraws
from app.schemas import Batch, Caution
from app.serving import Engine
from model.reference import CONSTANTS, Reference

SOIL_FREE_COUNTRIES = frozenset({"US", "CA", "AU"})


def asked_cautions(batch: Batch, prepared: PreparedBatch, engine: Engine) -> list[Caution]:
    """Return the cautions that follow from the request and from what the model has seen."""
    cautions = [*prepared.cautions, *_record_cautions(prepared, engine)]
    places = prepared.routes[0].plan.lane.places
    if places["origin"].iata == places["destination"].iata:
        cautions.insert(0, caution("same_place", place=places["origin"].city))
    if missing := missing_papers(batch):
        days = max(route.plan.papers_days for route in prepared.routes)
        cautions.append(caution("papers_missing", papers=", ".join(missing), days=days))
    genera = {line.plant.genus.genus: line.plant.genus for line in prepared.lines if line.plant.genus}
    if of_cites := [name for name, genus in genera.items() if genus.cites]:
        cautions.append(caution("cites_possible", genera=", ".join(of_cites)))
    if prepared.routes[0].plan.lane.places["destination"].country in SOIL_FREE_COUNTRIES:
        cautions.append(caution("soil_free"))
    if by_cargo := [route.asked.name for route in prepared.routes if route.asked.service == "air_cargo"]:
        cautions += [caution("chilled_handling", routes=listed(by_cargo))]
        cautions += [caution("carrier_liability"), caution("storage_charges")]
    if batch.packing.heat_pack_hours > 0 and batch.packing.heat_packs > 0:
        cautions.append(caution("heat_pack_brands"))
    if batch.recourse.kind == "none":
        cautions.append(caution("no_recourse"))
    elif batch.recourse.claim_window_hours is None:
        cautions.append(caution("claim_window_unknown"))
    else:
        cautions.append(caution("claim_window", hours=batch.recourse.claim_window_hours))
    # Of the times of the table nothing is said: the buyer gave none that could leave no room.
    if crowded_out := [
        f"{r.asked.name} {percent(r.solved.delay_share)} instead of {percent(r.plan.lane.service.delay_share)}"
        for r in prepared.routes
        if r.usual is None and r.solved.share_lowered
    ]:
        cautions.append(caution("delay_share_lowered", routes=", ".join(crowded_out)))
    if overfull := [r for r in prepared.routes if r.plan.n_boxes * r.capacity < _plants(batch)]:
        boxes = [f"{r.plan.n_boxes} {'box' if r.plan.n_boxes == 1 else 'boxes'} on {r.asked.name}" for r in overfull]
        capacity = overfull[0].capacity
        cautions.append(caution("boxes_overfull", boxes=listed(boxes), plants=_plants(batch), capacity=capacity))
    return cautions


def all_cautions(
    batch: Batch,
    prepared: PreparedBatch,
    engine: Engine,
    ship_date: date,
    followed: Sequence[tuple[PreparedRoute, RouteDraws]],
) -> list[Caution]:
    """Return every caution of a batch that leaves on a day, its routes followed."""
    return [
        *asked_cautions(batch, prepared, engine),
        *layover_cautions(prepared, ship_date),
        *journey_cautions(batch, prepared, followed, engine.reference),
        *closing_cautions(prepared),
    ]


def closing_cautions(prepared: PreparedBatch) -> list[Caution]:
    """Return the cautions for opening the box, which always apply."""
    return [*unpacking_cautions(line.plant.genus for line in prepared.lines), caution("duty_and_tax")]


def journey_cautions(
    batch: Batch, prepared: PreparedBatch, followed: Sequence[tuple[PreparedRoute, RouteDraws]], reference: Reference
) -> list[Caution]:
    """Return the cautions that the journeys of the routes show, each once for all routes that it concerns."""

    def often(happens: Callable[[PreparedRoute, RouteDraws], float], least: float) -> dict[str, float]:
        """Return the share of journeys by route, where it is more than the least."""
        shares = {route.asked.name: happens(route, drawn) for route, drawn in followed}
        return {name: share for name, share in shares.items() if share > least}

    cautions = []
    notable = CONSTANTS.notable_share
    box = followed[0][0].plan.box
    if box.heat_pack_w > 0:
        if longer := often(lambda _, drawn: float(np.mean(24.0 * drawn.days > box.heat_pack_hours)), notable):
            cautions.append(caution("heat_pack_short", hours=box.heat_pack_hours, journeys=of_journeys(longer)))
        if froze := often(lambda _, drawn: float(np.mean(drawn.pack_froze)), notable):
            cautions.append(caution("heat_pack_freezes", journeys=of_journeys(froze)))
        if warm := often(lambda _, drawn: float(np.quantile(drawn.inside_c, 0.95)), CONSTANTS.too_warm_inside_c):
            cautions.append(caution("heat_pack_too_warm", inside_c=f"{min(warm.values()):.0f}", routes=listed([*warm])))
    chilled = {route.asked.name: _chilled(drawn) for route, drawn in followed}
    if cold := often(lambda route, _: float(chilled[route.asked.name].max()), notable):
        genera = {
            line.plant.genus.genus if line.plant.genus else "the unknown plants"
            for route, drawn in followed
            if route.asked.name in cold
            for line, genus in zip(prepared.lines, drawn.line_genus, strict=True)
            if chilled[route.asked.name][genus] > notable
        }
        cautions.append(caution("cold_inside", journeys=of_journeys(cold), genera=", ".join(sorted(genera))))
    longest = reference.longest_rule_days
    if beyond := often(lambda _, drawn: float(np.mean(drawn.days > longest)), notable):
        what = f"a trip of more than {longest:g} days, {of_journeys(beyond)},"
        cautions.append(caution("extrapolation", what=what, range=f"rules of thumb to {longest:g} days"))
    window = batch.recourse.payment_window_days
    if window is not None:
        least = CONSTANTS.notable_late_payment_share
        if late := often(lambda _, drawn: float(np.mean(drawn.days > window)), least):
            cautions.append(caution("payment_window", days=window, journeys=of_journeys(late)))
    return cautions


def _chilled(drawn: RouteDraws) -> NDArray[np.float64]:
    """Return the share of journeys in which the plants of each genus are chilled, (genera,)."""
    return np.asarray((drawn.chill_dose_days > CONSTANTS.notable_chill_days).mean(axis=1), dtype=np.float64)


def layover_cautions(prepared: PreparedBatch, ship_date: date) -> list[Caution]:
    """Return a caution where a box closed on this day is likely to lie over the weekend."""
    plans = {route.asked.name: route.plan for route in prepared.routes}
    routes = [name for name, plan in plans.items() if origin_layover(plan.lane, plan.calendar, ship_date) > 0]
    return [caution("weekend_layover", ship_date=ship_date, routes=listed(routes))] if routes else []


def _record_cautions(prepared: PreparedBatch, engine: Engine) -> list[Caution]:
    """Return what has no box recorded."""
    plants = [line.plant for line in prepared.lines]
    cautions = [caution("no_own_record")] if engine.rules_alone else []
    if engine.update and not engine.update.in_use:
        cautions.append(caution("refit_due", why=engine.update.why))
    seller = plants[0].seller
    if seller is not None and not engine.knows("seller", seller):
        cautions.append(caution("unknown_seller"))
    unknown = {
        (plant.genus.genus, plant.cultivar.casefold()): f"{plant.genus.genus} {plant.cultivar}"
        for plant in plants
        if plant.genus and plant.cultivar and not engine.knows("cultivar", plant.cultivar_level)
    }
    if unknown:
        cautions.append(caution("unknown_cultivar", plants=", ".join(unknown.values())))
    return cautions


def _plants(batch: Batch) -> int:
    return sum(line.quantity for line in batch.lines)
