"""Cautions of a box on its way: those of its batch that still matter, and what its notes leave open."""

from collections.abc import Sequence

from app.batch import CLOSING_TIME, PreparedBatch, caution
from app.comparing import asked_cautions, closing_cautions, journey_cautions
from app.outlook.followed_box import FollowedBox
from app.outlook.open_journey import LEG_OF_KIND, Note, legs_of_kinds
from app.schemas import Caution, CompareRequest
from app.serving import Engine
from model.reference import CONSTANTS

# What was to be settled before departure no longer matters.
SETTLED = frozenset(
    {
        "papers_assumed", "cites_possible", "soil_free", "chilled_handling", "heat_pack_brands", "heat_pack_too_warm",
        "delay_share_lowered", "boxes_overfull", "duty_and_tax",
    }
)  # fmt: skip


def outlook_cautions(
    plan: CompareRequest, prepared: PreparedBatch, box: FollowedBox, notes: Sequence[Note], engine: Engine
) -> list[Caution]:
    """Return the cautions that apply to a box on its way; notes are those counted, in order of time."""
    [route] = prepared.routes
    known, name = box.known, route.asked.name
    own = []
    if 1.0 - known.plan_chance_by_now < CONSTANTS.far_late_chance:
        own.append(caution("far_late", route=name))
    known_kinds = legs_of_kinds(known.lane)
    for kind in dict.fromkeys(note.kind for note in notes):
        if kind in LEG_OF_KIND and kind not in known_kinds:
            own.append(caution("note_without_leg", kind=kind, route=name))
    of_batch = [
        *asked_cautions(plan, prepared, engine),
        *journey_cautions(plan, prepared, [(route, box.outcomes())], engine.reference),
        *closing_cautions(prepared),
    ]
    return own + [c for c in of_batch if c.code not in SETTLED]


def departure_caution(plan: CompareRequest) -> Caution:
    """Return the caution of a box whose departure is not recorded."""
    return caution("departure_assumed", ship_date=plan.ship_date, hour=f"{CLOSING_TIME:%H:%M}")
