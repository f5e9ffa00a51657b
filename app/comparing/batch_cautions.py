"""Cautions of a batch: from what was asked, and from what the simulation showed."""

from datetime import date

import numpy as np

from app.batch import PreparedBatch, PreparedRoute, caution, missing_papers, percent
from app.comparing.simulation import RouteDraws
from app.schemas import Batch, Caution
from app.serving import Engine
from model.reference import CONSTANTS, Reference

SOIL_FREE_COUNTRIES = frozenset({"US", "CA", "AU"})


def asked_cautions(batch: Batch, prepared: PreparedBatch, engine: Engine) -> list[Caution]:
    """Return the cautions that follow from the request and from what the model has seen."""
    cautions = [*prepared.cautions, *_record_cautions(prepared, engine)]
    if missing := missing_papers(batch):
        days = max(route.plan.papers_days for route in prepared.routes)
        cautions.append(caution("papers_missing", papers=", ".join(missing), days=days))
    genera = {line.plant.genus.genus: line.plant.genus for line in prepared.lines if line.plant.genus}
    if listed := [name for name, genus in genera.items() if genus.cites]:
        cautions.append(caution("cites_possible", genera=", ".join(listed)))
    if prepared.routes[0].plan.lane.places["destination"].country in SOIL_FREE_COUNTRIES:
        cautions.append(caution("soil_free"))
    if by_cargo := [route.asked.name for route in prepared.routes if route.asked.service == "air_cargo"]:
        cautions += [caution("chilled_handling", route=name) for name in by_cargo]
        cautions += [caution("carrier_liability"), caution("storage_charges")]
    if batch.packing.heat_pack_hours > 0 and batch.packing.heat_packs > 0:
        cautions.append(caution("heat_pack_brands"))
    if batch.recourse.kind == "none":
        cautions.append(caution("no_recourse"))
    elif batch.recourse.claim_window_hours is None:
        cautions.append(caution("claim_window_unknown"))
    else:
        cautions.append(caution("claim_window", hours=batch.recourse.claim_window_hours))
    cautions += [
        caution(
            "delay_share_lowered",
            route=route.asked.name,
            share=route.solved.delay_share,
            usual=route.plan.lane.service.delay_share,
        )
        for route in prepared.routes
        if route.solved.share_lowered
    ]
    cautions += [
        caution("boxes_overfull", route=r.asked.name, boxes=r.plan.n_boxes, plants=_plants(batch), capacity=r.capacity)
        for r in prepared.routes
        if r.plan.n_boxes * r.capacity < _plants(batch)
    ]
    return cautions


def closing_cautions(prepared: PreparedBatch) -> list[Caution]:
    """Return the cautions for opening the box, which always apply."""
    genera = {line.plant.genus.genus: line.plant.genus for line in prepared.lines if line.plant.genus}
    cautions = [caution("late_damage"), caution("residues")]
    if irritant := [name for name, genus in genera.items() if genus.irritant_sap]:
        cautions.append(caution("irritant_sap", genera=", ".join(irritant)))
    return [*cautions, caution("isolate"), caution("duty_and_tax")]


def journey_cautions(
    batch: Batch, prepared: PreparedBatch, route: PreparedRoute, drawn: RouteDraws, reference: Reference
) -> list[Caution]:
    """Return the cautions that the journeys of a route show."""
    name, box = route.asked.name, route.plan.box
    cautions = []
    if box.heat_pack_w > 0:
        longer = float(np.mean(24.0 * drawn.days > box.heat_pack_hours))
        if longer > CONSTANTS.notable_share:
            cautions.append(caution("heat_pack_short", hours=box.heat_pack_hours, share=longer, route=name))
        froze = float(np.mean(drawn.pack_froze))
        if froze > CONSTANTS.notable_share:
            cautions.append(caution("heat_pack_freezes", share=froze, route=name))
        warmest = float(np.quantile(drawn.inside_c, 0.95))
        if warmest > CONSTANTS.too_warm_inside_c:
            cautions.append(caution("heat_pack_too_warm", inside_c=warmest, route=name))
    chilled = (drawn.chill_dose_days > CONSTANTS.notable_chill_days).mean(axis=1)
    if (share := float(chilled.max())) > CONSTANTS.notable_share:
        cold = {
            line.plant.genus.genus if line.plant.genus else "the unknown plants"
            for line, genus in zip(prepared.lines, drawn.line_genus, strict=True)
            if chilled[genus] > CONSTANTS.notable_share
        }
        cautions.append(caution("cold_inside", share=share, route=name, genera=", ".join(sorted(cold))))
    longest = reference.longest_rule_days
    if (beyond := float(np.mean(drawn.days > longest))) > CONSTANTS.notable_share:
        what = f"a trip of more than {longest:g} days, {percent(beyond)} of the journeys on {name},"
        cautions.append(caution("extrapolation", what=what, range=f"rules of thumb to {longest:g} days"))
    window = batch.recourse.payment_window_days
    if window is not None:
        late = float(np.mean(drawn.days > window))
        if late > CONSTANTS.notable_late_payment_share:
            cautions.append(caution("payment_window", days=window, share=late, route=name))
    return cautions


def layover_cautions(prepared: PreparedBatch, ship_date: date) -> list[Caution]:
    """Return a caution for each route on which a box closed on this day is likely to lie over the weekend."""
    return [
        caution("weekend_layover", ship_date=ship_date, route=route.asked.name)
        for route in prepared.routes
        if route.plan.lane.service.layover_days(ship_date.weekday()) > 0
    ]


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
