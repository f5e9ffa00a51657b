"""The lines of an arrival against those that were ordered."""

from collections.abc import Sequence

from app.boxes.shipment_lookup import WholeShipment
from app.boxes.shipment_plans import stored_plan
from app.problems import FieldError, json_pointer
from app.records import LineRecord
from app.schemas import ArrivalRequest, ArrivedLine, plant_key
from app.store import OrderedLine

ArrivedLines = list[tuple[LineRecord, OrderedLine]]


def arrived_lines(found: WholeShipment, request: ArrivalRequest, faults: list[FieldError]) -> ArrivedLines:
    """Return the lines with their counts, those of the plan first; what is wrong is added to the faults.

    The lines of a shipment without a plan, and of one that a file has replaced, are those recorded.
    """
    base = _ordered(found)
    counted: dict[int, tuple[LineRecord, OrderedLine]] = {}
    extra: ArrivedLines = []
    plants = {plant_key(line.genus, line.cultivar): i for i, (line, _) in enumerate(base)}
    for i, asked in enumerate(request.lines):
        if asked.line is not None and asked.line < len(base):
            if asked.line in counted:
                faults.append(_fault(i, "line", "must differ from the lines before it"))
                continue
            line, ordered = base[asked.line]
            counted[asked.line] = _counted(i, asked, line, ordered, faults)
        else:
            position = len(base) + len(extra)
            extra.append(_extra(i, asked, position, len(base), faults))
            if asked.genus is not None:
                same = plants.setdefault(plant_key(asked.genus, asked.cultivar), position)
                if same != position:
                    message = f"is the same plant as line {same}: count it there (more may be sent than was ordered)"
                    faults.append(_fault(i, "genus", message))
    for position, (line, _) in enumerate(base):
        if position not in counted:
            name = line.genus if line.cultivar is None else f"{line.genus} {line.cultivar}"
            message = f"lacks line {position}, {name}: give it with sent 0 and counts 0 if none came"
            faults.append(FieldError("/lines", message))
    return [*(counted[position] for position in sorted(counted)), *extra]


def planned_lines(plan_json: str) -> list[tuple[LineRecord, OrderedLine]]:
    """Return the lines of a plan as they are before anything is counted."""
    return [
        (
            LineRecord(line.genus, line.cultivar, None, None, None, None, line.unit_cost, line.sale_value),
            OrderedLine(line.quantity, ""),
        )
        for line in stored_plan(plan_json).lines
    ]


def _ordered(found: WholeShipment) -> Sequence[tuple[LineRecord, OrderedLine]]:
    recorded = list(zip(found.life.stored.record.lines, found.life.ordered, strict=True))
    if found.plan is None:
        return recorded
    planned = planned_lines(found.plan.plan_json)
    # A file may have replaced the lines of a plan by others: then those are the ones to be corrected.
    followed = [(line.genus, line.cultivar) for line, _ in recorded[: len(planned)]]
    return planned if followed == [(line.genus, line.cultivar) for line, _ in planned] else recorded


def _counted(
    i: int, asked: ArrivedLine, line: LineRecord, ordered: OrderedLine, faults: list[FieldError]
) -> tuple[LineRecord, OrderedLine]:
    named = asked.genus is not None or asked.cultivar is not None
    if named and plant_key(asked.genus or line.genus, asked.cultivar) != plant_key(line.genus, line.cultivar):
        message = f"must be left out, or be the plant of line {asked.line}; plants not ordered come without a line"
        faults.append(_fault(i, "genus", message))
    total = asked.healthy + asked.damaged + asked.dead
    sent = asked.sent
    if sent is None:
        sent = ordered.quantity
        if sent is None:
            faults.append(_fault(i, "sent", "is required: the plants found in the box, since no quantity is recorded"))
        elif total != sent:
            message = f"healthy, damaged and dead must add up to the quantity, {sent:,}; if others were sent, give sent"
            faults.append(_fault(i, "dead", message))
    new = LineRecord(
        line.genus,
        line.cultivar,
        total if sent is None else sent,
        asked.healthy,
        asked.damaged,
        asked.dead,
        line.unit_cost,
        line.sale_value,
    )
    return new, OrderedLine(ordered.quantity, asked.note)


def _extra(
    i: int, asked: ArrivedLine, position: int, n_ordered: int, faults: list[FieldError]
) -> tuple[LineRecord, OrderedLine]:
    places = f"0 to {n_ordered - 1}" if n_ordered > 1 else "0"
    if asked.genus is None:
        if asked.line is None:
            message = f"is required: the position of a line of the plan, {places}, or genus for plants not ordered"
        else:
            message = f"must be the position of a line of the plan, {places}; plants not ordered come with genus"
        faults.append(_fault(i, "line", message))
    elif asked.line is not None and asked.line != position:
        message = f"must be the position of a line of the plan, {places}, or left out for plants not ordered"
        faults.append(_fault(i, "line", message))
    total = asked.healthy + asked.damaged + asked.dead
    counts = (asked.healthy, asked.damaged, asked.dead)
    return LineRecord(asked.genus or "", asked.cultivar, total, *counts), OrderedLine(None, asked.note)


def _fault(i: int, field: str, message: str) -> FieldError:
    return FieldError(json_pointer(("lines", i, field)), message)
