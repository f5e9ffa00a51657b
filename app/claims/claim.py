"""A claim made ready from what is recorded of an arrived box."""

import json
from collections.abc import Sequence
from datetime import datetime
from typing import get_args
from zoneinfo import ZoneInfo

import numpy as np

from app.batch import (
    caution,
    percent,
    resolve_genus,
    resolve_place,
    stored_seller,
    unpacking_cautions,
    with_seller,
)
from app.boxes import find_whole_shipment, stored_plan
from app.claims.clocks import claim_clocks
from app.claims.draft import Told, draft, plant_in_words
from app.claims.evidence import claim_evidence
from app.claims.lead import claim_lead
from app.claims.tally import Replacement, claim_lines, recourse_worth, total_value
from app.problems import Conflict
from app.schemas import (
    Caution,
    ClaimAnswer,
    ClaimLine,
    PlanRequest,
    Point,
    Recourse,
    RecourseAnswer,
    RecourseKind,
    SettledAnswer,
)
from app.serving import Engine
from app.store import ARRIVED, Database, SellerRecord, ShipmentLife, StoredPlan
from model.reference import CONSTANTS, Reference

LOST = "lost"


def answer_claim(database: Database, engine: Engine, shipment_id: str, now: datetime) -> ClaimAnswer:
    """Return the claim for a shipment, as it stands `now`.

    Raises
    ------
    NotFound
        If there is no such shipment.
    Conflict
        If it has not arrived.
    StoreUnavailable
        If the database cannot be used.
    """
    life, plan, trace, _ = find_whole_shipment(database, shipment_id)
    record = life.stored.record
    if life.stored.state != ARRIVED or record.arrival_date is None:
        lost = " It is recorded as lost: write to the seller and to the carrier at once." * (life.stored.state == LOST)
        raise Conflict(f"The shipment has not arrived: record its arrival first.{lost}")
    reference = engine.reference
    seller = stored_seller(database, record.seller)
    request = None if plan is None else with_seller(stored_plan(plan.plan_json), seller).request
    recourse = None if request is None else request.recourse
    agreed = _agreed(recourse, seller)
    chance = recourse.chance if recourse is not None else CONSTANTS.claim_chance
    origin, destination = (resolve_place(code, "", reference).place for code in (record.origin, record.destination))
    zone = ZoneInfo(destination.time_zone)
    opened = life.opened_at.astimezone(zone) if life.opened_at else None
    lines = claim_lines(life)
    replacement = _replacement(lines, plan, request, reference)
    evidence, total = claim_evidence(life, trace, zone), float(total_value(lines, record.currency))
    told = Told(
        order=life.stored.reference or life.stored.id,
        seller=record.seller,
        ship_date=record.ship_date,
        arrival_date=record.arrival_date,
        opened_at=opened,
        currency=record.currency,
        lines=lines,
        total=total,
        agreed=agreed,
        files=[name for item in evidence for name in item.files],
    )
    clocks = claim_clocks(life, recourse, origin, destination)
    settled = None
    if life.claim_outcome:
        settled = SettledAnswer(outcome=life.claim_outcome, amount=life.claim_amount, settled_on=life.claim_settled_on)
    return ClaimAnswer(
        lead=claim_lead(told, clocks=clocks, settled=settled, now=now),
        id=life.stored.id,
        reference=life.stored.reference,
        model_version=plan.model_version if plan else None,
        language="en",
        seller=record.seller,
        service=record.service,
        origin=record.origin,
        destination=record.destination,
        ship_date=record.ship_date,
        arrival_date=record.arrival_date,
        opened_at=opened,
        currency=record.currency,
        lines=lines,
        dead=sum(line.dead or 0 for line in lines),
        missing=sum(line.missing for line in lines),
        damaged=sum(line.damaged or 0 for line in lines),
        total=total,
        claimable=_claimable(lines),
        rarely_paid=_rarely_paid(lines),
        evidence=evidence,
        clocks=clocks,
        recourse=RecourseAnswer(
            agreed=agreed, chance=chance, options=recourse_worth(lines, chance, replacement, record.currency)
        ),
        settled=settled,
        draft=draft(told),
        cautions=_cautions(life, lines, agreed, reference),
    )


def _agreed(recourse: Recourse | None, seller: SellerRecord | None) -> RecourseKind | None:
    """Return what was agreed: by the plan, else by what the seller usually gives."""
    if recourse is not None and "kind" in recourse.model_fields_set:
        return recourse.kind
    kind = None if seller is None else seller.details.recourse
    return next((known for known in get_args(RecourseKind) if known == kind), None)


def _replacement(
    lines: Sequence[ClaimLine], plan: StoredPlan | None, request: PlanRequest | None, reference: Reference
) -> Replacement:
    """Return what bears on a replacement: of the plan and its forecast, else of this very box."""
    if plan is None or request is None:
        counted = [line for line in lines if line.healthy is not None and line.sent]
        sent = sum(line.sent or 0 for line in counted)
        share = sum(line.healthy or 0 for line in counted) / sent if sent else 1.0
        chance_is = f"{percent(share)} of this box arrived healthy; its freight is not recorded and taken as 0"
        return Replacement(0.0, np.full(len(lines), share), chance_is)
    forecast = json.loads(plan.forecast_json)
    plants = forecast["plants"]
    overall = plants["healthy"]["mean"] / plants["sent"]
    by_line = [line["healthy"]["mean"] / line["quantity"] for line in forecast["lines"]][: len(lines)]
    chances = np.array(by_line + [overall] * (len(lines) - len(by_line)))
    capacity = request.packing.capacity or reference.containers[request.packing.container].capacity
    chance_is = f"the forecast of this box said {percent(overall)} healthy"
    return Replacement(request.routes[0].freight / capacity, chances, chance_is)


def _claimable(lines: Sequence[ClaimLine]) -> list[Point]:
    points = []
    if dead := sum(line.dead or 0 for line in lines):
        text = f"{dead:,} dead at unboxing: roots rotted or gone, or rot into the stem. Sellers usually accept this."
        points.append(Point(code="dead", text=text))
    if missing := sum(line.missing for line in lines):
        points.append(
            Point(code="missing", text=f"{missing:,} ordered and not in the box. Sellers usually accept this.")
        )
    return points


def _rarely_paid(lines: Sequence[ClaimLine]) -> list[Point]:
    damaged = sum(line.damaged or 0 for line in lines)
    counted = f"{damaged:,} damaged: alive" if damaged else "Damaged plants: alive"
    return [
        Point(code="damaged", text=f"{counted}, with viable roots, but yellow, bruised or part-rotted; rarely paid."),
        Point(code="yellow_leaves", text="Yellow leaves on sound roots are normal after days in the dark; not paid."),
        Point(code="bruised_leaves", text="Bruised or torn leaves on a sound plant are normal; not paid."),
        Point(
            code="late_death", text="Plants that die later, after potting; rarely paid. Say so as soon as you see it."
        ),
    ]


def _cautions(
    life: ShipmentLife, lines: Sequence[ClaimLine], agreed: str | None, reference: Reference
) -> list[Caution]:
    found = [caution("claim_practice")]
    if unpriced := [plant_in_words(line) for line in lines if line.unit_cost is None and (line.dead or line.missing)]:
        found.append(caution("claim_unpriced", plants=", ".join(unpriced)))
    if uncounted := [plant_in_words(line) for line in lines if line.dead is None and line.sent]:
        found.append(caution("claim_uncounted", plants=", ".join(uncounted)))
    if agreed == "none":
        found.append(caution("no_recourse"))
    if life.stored.record.service != "post":
        found.append(caution("carrier_liability"))
    genera = (resolve_genus(line.genus, reference)[0] for line in lines)
    return [*found, caution("dead_plants"), *unpacking_cautions(genera)]
