"""Which cautions are to be acted on: those that would change the answer most, found by playing the remedy through.

A remedy that is in the model is simulated on the advised route, draw by draw beside the route as asked, and counts by
what it adds to the mean margin. What the model cannot play through follows in a fixed order.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from app.batch import PreparedRoute, rough
from app.comparing.simulated import SimulatedBatch, SimulatedRoute
from app.comparing.work_limit import REMEDY_DRAWS
from app.schemas import Caution
from model.decision import noise
from model.exposure import Box
from model.reference import CONSTANTS

MOST_ACTS = 3
DAY_H = 24.0
# What is hardly meant comes before anything that is worth doing about it.
FIRST = ("same_place",)
_NO_PACK = "Ask for no heat pack"
# The plant itself, the law, and papers come before what the model only knows less well.
NOT_PLAYED = (
    "unknown_genus", "cites_possible", "certificate_lapses", "treatment_lapses", "payment_window", "boxes_overfull",
    "date_unusual", "refit_due",
)  # fmt: skip


class _Remedy(NamedTuple):
    """What to do, and the mean margin once it is done, (draws,)."""

    words: str
    margin: np.ndarray


_Find = Callable[[SimulatedBatch, SimulatedRoute], _Remedy]


def with_acts(
    batch: SimulatedBatch, advised: int, cautions: Sequence[Caution], worth_apart: float | None = None
) -> list[Caution]:
    """Return the cautions with those to be acted on first, each with what to do and what that is worth.

    `advised` is the position of the route that the answer is about, `worth_apart` what it is worth there to let the
    boxes travel apart, where a caution says so.
    """
    small = SimulatedBatch(batch.request, batch.prepared, batch.engine, draws=min(REMEDY_DRAWS, batch.request.draws))
    asked = small.simulate(batch.prepared.routes[advised])
    found = {caution.code for caution in cautions}
    worth: dict[str, tuple[float, str]] = {}
    least = CONSTANTS.equal_cost_share * float(asked.money.cost.total)
    for code, find in _REMEDIES.items():
        # A warmer box is the remedy of both: it is told once.
        if code not in found or (code == "cold_inside" and "heat_pack_short" in worth):
            continue
        remedy = find(small, asked)
        gap = remedy.margin - asked.money.margin
        gain = float(gap.mean())
        if gain > noise(gap, orders=gap.size, least=least):
            name, amount = asked.route.asked.name, rough(gain, batch.request.currency)
            worth[code] = (gain, f"{remedy.words}: on {name} that is worth about {amount} on average.")
    # Another pack and none at all cannot both be asked for: what is worth more is.
    if {"heat_pack_short", "heat_pack_too_warm"} <= worth.keys():
        del worth[min("heat_pack_short", "heat_pack_too_warm", key=lambda code: worth[code][0])]
    gains = {code: gain for code, (gain, _) in worth.items()}
    if worth_apart is not None:
        gains["boxes_apart"] = worth_apart
    ranked = sorted(gains, key=lambda code: -gains[code])
    first, others = ([code for code in codes if code in found] for codes in (FIRST, NOT_PLAYED))
    acts = [*first, *ranked, *others][:MOST_ACTS]
    return [
        *(_acted(caution, worth) for code in acts for caution in cautions if caution.code == code),
        *(caution for caution in cautions if caution.code not in acts),
    ]


def _acted(caution: Caution, worth: Mapping[str, tuple[float, str]]) -> Caution:
    text = f"{caution.text} {worth[caution.code][1]}" if caution.code in worth else caution.text
    return caution.model_copy(update={"act": True, "text": text})


def _warmer(batch: SimulatedBatch, s: SimulatedRoute) -> _Remedy:
    """Return the best of a pack that lasts for 9 of 10 journeys, if one is made, of one pack more, and of none."""
    box = s.route.plan.box
    days = np.ceil(float(np.quantile(s.drawn.days, 0.9)))
    hours = min(DAY_H * days, CONSTANTS.longest_heat_pack_h)
    tried: dict[str, Box] = {}
    if box.heat_pack_w > 0:
        n = box.heat_packs + 1
        tried[f"Ask for {n} packs a box"] = replace(box, heat_packs=n)
        tried[_NO_PACK] = _without_pack(box)
        if hours > box.heat_pack_hours:
            tried[f"Ask for {hours:g} h"] = replace(box, heat_pack_hours=hours)
    else:
        tried[f"Ask for a heat pack of {hours:g} h"] = replace(box, heat_pack_hours=hours, heat_packs=1)
    plans = {words: replace(s.route.plan, box=warmer) for words, warmer in tried.items()}
    remedies = [_Remedy(words, _played(batch, replace(s.route, plan=plan))) for words, plan in plans.items()]
    return max(remedies, key=lambda remedy: float(remedy.margin.mean()))


def _no_pack(batch: SimulatedBatch, s: SimulatedRoute) -> _Remedy:
    bare = _without_pack(s.route.plan.box)
    return _Remedy(_NO_PACK, _played(batch, replace(s.route, plan=replace(s.route.plan, box=bare))))


def _without_pack(box: Box) -> Box:
    return replace(box, heat_pack_hours=0.0, heat_packs=0)


def _papers(batch: SimulatedBatch, s: SimulatedRoute) -> _Remedy:
    plan = replace(s.route.plan, papers_days=0.0)
    return _Remedy("Have them before it leaves", _played(batch, replace(s.route, plan=plan)))


def _early_in_the_week(batch: SimulatedBatch, s: SimulatedRoute) -> _Remedy:
    return _Remedy("Leave without that wait", batch.simulate(s.route, layover_days=0.0).money.margin)


def _refund(batch: SimulatedBatch, s: SimulatedRoute) -> _Remedy:
    unit_cost = np.array([line.unit_cost for line in batch.request.lines])
    refunded = CONSTANTS.claim_chance * (s.drawn.dead @ unit_cost)
    return _Remedy("Agree on a refund before paying", s.money.margin + refunded)


def _played(batch: SimulatedBatch, route: PreparedRoute) -> np.ndarray:
    return batch.simulate(route).money.margin


_REMEDIES: Mapping[str, _Find] = {
    "heat_pack_short": _warmer,
    "cold_inside": _warmer,
    "heat_pack_too_warm": _no_pack,
    "papers_missing": _papers,
    "weekend_layover": _early_in_the_week,
    "no_recourse": _refund,
}
