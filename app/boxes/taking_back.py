"""A step recorded by mistake, taken back as long as nothing later is recorded; the version before is kept."""

from datetime import datetime
from typing import Any

from app.boxes.arrived_lines import planned_lines
from app.boxes.shipment_changes import Decided
from app.boxes.shipment_lookup import WholeShipment
from app.boxes.shipment_news import DEPARTED, state_on_the_way
from app.boxes.shipment_plans import stored_plan
from app.problems import Conflict
from app.schemas import RequestBody, TakeBackRequest
from app.store import ARRIVED, PLANNED, ShipmentChange
from model.reference import Reference

TAKE_BACK_BODY = RequestBody(TakeBackRequest)
NO_CLAIM = {"claim_outcome": None, "claim_amount": None, "claim_settled_on": None}
NO_RECHECK = {"recheck_date": None, "rechecked_at": None, "recheck_notes": ""}
NO_ARRIVAL: dict[str, Any] = {
    **dict.fromkeys(
        (
            "arrival_date",
            "arrived_at",
            "opened_at",
            "inside_temp_c",
            "inside_min_c",
            "inside_max_c",
            "confirmed_revision",
            "arrived_revision",
            "corrected_revision",
        )
    ),
    "arrival_notes": "",
    "photos_json": "[]",
}


def decide_take_back(found: WholeShipment, asked: TakeBackRequest, _: Reference, __: datetime) -> Decided:
    """Return what it comes to that a step is taken back.

    Raises
    ------
    Conflict
        If it is not recorded, something later is, or the box was never planned here.
    """
    life = found.life
    recorded = {
        "departure": life.departed_at is not None,
        "event": any(event.kind != DEPARTED for event in life.events),
        "arrival": life.stored.state == ARRIVED,
        "recheck": life.stored.record.recheck_date is not None,
        "claim": life.claim_outcome is not None,
    }
    if not recorded[asked.step]:
        raise Conflict(f"No {asked.step} is recorded: there is nothing to take back.")
    steps = list(recorded)
    # Recheck and claim do not rest on each other.
    later = [] if asked.step in ("recheck", "claim") else steps[steps.index(asked.step) + 1 :]
    if after := [step for step in later if recorded[step]]:
        raise Conflict(f"The {after[-1]} is recorded later than the {asked.step}: take that back first.")
    return Decided(_BACK[asked.step](found))


def _departure(found: WholeShipment) -> ShipmentChange:
    if found.plan is None:
        raise Conflict("The box was never planned here: there is no plan to go back to.")
    values = {"state": PLANNED, "departed_at": None, "ship_date": stored_plan(found.plan.plan_json).ship_date}
    return ShipmentChange(values, forgotten=found.life.events)


def _event(found: WholeShipment) -> ShipmentChange:
    events = found.life.events
    last = [event for event in events if event.kind != DEPARTED][-1]
    return ShipmentChange({"state": state_on_the_way([e for e in events if e is not last])}, forgotten=[last])


def _arrival(found: WholeShipment) -> ShipmentChange:
    life = found.life
    if found.plan is None:
        raise Conflict("The box was taken in as it had arrived: it was never on its way here.")
    state = PLANNED if life.departed_at is None else state_on_the_way(life.events)
    return ShipmentChange(NO_ARRIVAL | {"state": state}, lines=planned_lines(found.plan.plan_json), readings=[])


def _recheck(found: WholeShipment) -> ShipmentChange:
    life = found.life
    lines = [
        line._replace(recheck_healthy=None, recheck_damaged=None, recheck_dead=None, recheck_gone=None)
        for line in life.stored.record.lines
    ]
    return ShipmentChange(NO_RECHECK, lines=list(zip(lines, life.ordered, strict=True)))


def _claim(_: WholeShipment) -> ShipmentChange:
    return ShipmentChange(NO_CLAIM)


_BACK = {"departure": _departure, "event": _event, "arrival": _arrival, "recheck": _recheck, "claim": _claim}
