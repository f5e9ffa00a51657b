"""A shipment as the ledger holds it, said to people and programs."""

import json
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from app.batch import caution, lost_whole_words, resolve_genus, resolve_place, unpacking_cautions
from app.boxes.claim_window import counted_from, window_hours
from app.boxes.next_steps import next_steps
from app.boxes.traces import covered_share, time_weighted_mean
from app.doubts import doubtful
from app.records import NOON, LineRecord, known_transit_days
from app.schemas import (
    ArrivalAnswer,
    Caution,
    ClaimState,
    EventAnswer,
    LoggerSummary,
    PlantLine,
    ReadingAnswer,
    RecheckAnswer,
    RecheckedLineAnswer,
    ShipmentAnswer,
)
from app.store import ARRIVED, OpenDoubt, OrderedLine, Reading, ShipmentLife, StoredPlan
from model.reference import CONSTANTS, Reference

A_DAY = timedelta(days=1)


def shipment_answer(
    life: ShipmentLife,
    plan: StoredPlan | None,
    trace: Sequence[Reading],
    reference: Reference,
    now: datetime,
    cautions: Sequence[Caution] = (),
    *,
    doubts: Sequence[OpenDoubt] = (),
) -> ShipmentAnswer:
    """Return a shipment as a whole; `cautions` about a change just made stand first, `doubts` are open."""
    stored = life.stored
    plan_said = None if plan is None else json.loads(plan.plan_json)
    arrival = _arrival(life, trace, reference) if stored.state == ARRIVED else None
    steps = []
    if arrival is not None:
        zone = ZoneInfo(time_zone(stored.record.destination, reference))
        delivered_at = counted_from(life, zone).astimezone(UTC)
        window = window_hours((plan_said or {}).get("recourse", {}))
        steps = next_steps(life, delivered_at, life.opened_at or _noon(life, zone), window, now)
    return ShipmentAnswer(
        id=stored.id,
        reference=stored.reference,
        state=stored.state,  # type: ignore[arg-type]
        plan=plan_said,
        forecast=None if plan is None else json.loads(plan.forecast_json),
        departed_at=life.departed_at,
        events=[EventAnswer(**event._asdict()) for event in life.events],
        arrival=arrival,
        recheck=_recheck(life),
        claim=claim_state(life),
        next_steps=steps,
        doubtful=[doubtful(doubt) for doubt in doubts],
        confirmed=life.confirmed_revision is not None and life.confirmed_revision == stored.corrected_revision,
        cautions=[*cautions, *_cautions(life, plan_said, trace, reference, now)],
        created_at=life.created_at,
        updated_at=life.updated_at,
    )


def plant_lines(life: ShipmentLife) -> list[PlantLine]:
    """Return the lines of a shipment."""
    pairs = zip(life.stored.record.lines, life.ordered, strict=True)
    return [_plant_line(i, line, ordered) for i, (line, ordered) in enumerate(pairs)]


def claim_state(life: ShipmentLife) -> ClaimState | None:
    """Return what became of the claim; None while it is open."""
    if life.claim_outcome is None:
        return None
    return ClaimState.model_validate(
        {"outcome": life.claim_outcome, "amount": life.claim_amount, "settled_on": life.claim_settled_on}
    )


def missing_plants(line: LineRecord, ordered: OrderedLine) -> int | None:
    """Return how many plants were ordered and not sent; None where either is unknown."""
    if ordered.quantity is None or line.sent is None:
        return None
    return max(0, ordered.quantity - line.sent)


def _plant_line(position: int, line: LineRecord, ordered: OrderedLine) -> PlantLine:
    return PlantLine(
        line=position,
        genus=line.genus,
        cultivar=line.cultivar,
        quantity=ordered.quantity,
        sent=line.sent,
        healthy=line.healthy,
        damaged=line.damaged,
        dead=line.dead,
        missing=missing_plants(line, ordered),
        note=ordered.note,
    )


def _arrival(life: ShipmentLife, trace: Sequence[Reading], reference: Reference) -> ArrivalAnswer:
    record = life.stored.record
    assert record.arrival_date is not None  # noqa: S101 - the database asks for it of arrived shipments
    zones = time_zone(record.origin, reference), time_zone(record.destination, reference)
    days = known_transit_days(record.ship_date, record.arrival_date, life.departed_at, life.opened_at, zones)
    lines = plant_lines(life)
    return ArrivalAnswer(
        arrival_date=record.arrival_date,
        arrived_at=life.arrived_at,
        opened_at=life.opened_at,
        transit_days=days,
        lines=lines,
        missing=sum(line.missing or 0 for line in lines),
        notes=life.arrival_notes,
        photos=list(life.photos),
        inside_temp_c=record.inside_temp_c,
        inside_min_c=record.inside_min_c,
        inside_max_c=record.inside_max_c,
        logger=[ReadingAnswer(**reading._asdict()) for reading in trace],
        logger_summary=_summary(trace),
        lost_whole_chance=life.lost_chance,
        lost_whole_text=lost_whole_words("This box", life.lost_chance),
    )


def _summary(trace: Sequence[Reading]) -> LoggerSummary | None:
    if not trace:
        return None
    temperatures = [reading.inside_c for reading in trace]
    return LoggerSummary(
        readings=len(trace),
        first=trace[0].at,
        last=trace[-1].at,
        mean_c=time_weighted_mean(trace),
        min_c=min(temperatures),
        max_c=max(temperatures),
    )


def _recheck(life: ShipmentLife) -> RecheckAnswer | None:
    record = life.stored.record
    if record.recheck_date is None:
        return None
    lines = [
        RecheckedLineAnswer(
            line=i,
            healthy=line.recheck_healthy or 0,
            damaged=line.recheck_damaged or 0,
            dead=line.recheck_dead or 0,
            gone=line.recheck_gone or 0,
        )
        for i, line in enumerate(record.lines)
        if line.rechecked
    ]
    return RecheckAnswer(
        recheck_date=record.recheck_date,
        checked_at=life.rechecked_at,
        lines=lines,
        notes=life.recheck_notes,
        late_loss_share=_late_loss_share(record.lines),
    )


def _late_loss_share(lines: Sequence[LineRecord]) -> float | None:
    looked_at = lost = 0
    for line in lines:
        if line.rechecked and line.healthy is not None:
            healthy = max(0, line.healthy - (line.recheck_gone or 0))
            looked_at += healthy
            lost += max(0, healthy - (line.recheck_healthy or 0))
    return lost / looked_at if looked_at else None


def _noon(life: ShipmentLife, zone: ZoneInfo) -> datetime:
    assert life.stored.record.arrival_date is not None  # noqa: S101 - as above
    return datetime.combine(life.stored.record.arrival_date, NOON, tzinfo=zone).astimezone(UTC)


def time_zone(code: str, reference: Reference) -> str:
    """Return the time zone of a place of the ledger."""
    return resolve_place(code, "", reference).place.time_zone


def _cautions(
    life: ShipmentLife, plan: dict[str, Any] | None, trace: Sequence[Reading], reference: Reference, now: datetime
) -> list[Caution]:
    record = life.stored.record
    said = []
    planned_for = plan["ship_date"] if plan is not None else None
    if planned_for is not None and planned_for < (life.created_at - A_DAY).date().isoformat():
        said.append(caution("date_unusual", what="The ship date, before the day it was planned,", date=planned_for))
    if life.departed_at is not None and life.departed_at > now:
        said.append(_unusual("The departure, still ahead,", life.departed_at))
    if life.stored.state != ARRIVED:
        return said
    for what, moment in (("The arrival", life.arrived_at), ("The opening", life.opened_at)):
        if moment is not None and moment > now:
            said.append(_unusual(f"{what}, still ahead,", moment))
    if trace and life.departed_at is not None and life.opened_at is not None:
        share = covered_share(trace, life.departed_at, life.opened_at)
        if share < CONSTANTS.logger_notable_share:
            said.append(caution("logger_partial", share=share))
    said += unpacking_cautions(resolve_genus(line.genus, reference)[0] for line in record.lines)
    if plan is not None and plan.get("recourse", {}).get("kind") == "none":
        said.append(caution("no_recourse"))
    return said


def _unusual(what: str, moment: datetime) -> Caution:
    return caution("date_unusual", what=what, date=moment.isoformat(timespec="minutes"))
