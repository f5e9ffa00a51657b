"""What would help a box on its way: only what applies now, with what it would bring where that can be computed."""

import numpy as np
from numpy.typing import NDArray

from app.batch import CLEARANCE_LEG, percent
from app.outlook.followed_box import FollowedBox
from app.outlook.open_journey import KnownJourney
from app.schemas import Help
from model.reference import CONSTANTS

Array = NDArray[np.float64]

LAST_MILE_LEG = "last_mile"


def helps_now(box: FollowedBox) -> list[Help]:
    """Return what would help, the most useful first where it can be told, then the rest."""
    computed = [help_ for help_ in (_chase_papers(box), _collect_yourself(box)) if help_ is not None]
    computed.sort(key=lambda h: -(h.healthy_gain or 0.0))
    return [*computed, *_uncomputed(box)]


def _computed(box: FollowedBox, code: str, text: str, sooner_h: Array, first_leg: int) -> Help | None:
    """Return a help that ends the legs from `first_leg` on sooner by (draws,) hours; None where it is too little."""
    days = float(sooner_h.mean()) / 24.0
    if days < CONSTANTS.worth_a_call_days:
        return None
    ends = box.journeys.ends_h.copy()
    ends[first_leg:] -= sooner_h
    gain = box.gain(ends)
    brings = f"it is opened about {days:.1f} days sooner on average"
    if gain >= 0.005:  # noqa: PLR2004 - below it the text would say 0
        brings += f", and {100 * gain:.0f} more of 100 plants are healthy"
    return Help(code=code, text=f"{text} {brings}.", days_sooner=days, healthy_gain=gain)


def _collect_yourself(box: FollowedBox) -> Help | None:
    """Collecting saves the last mile, while the box is not yet on it."""
    names = box.known.leg_names
    if names[-1] != LAST_MILE_LEG:
        return None
    ends = box.journeys.ends_h
    sooner = np.where(ends[-2] > 24.0 * box.known.elapsed_days, ends[-1] - ends[-2], 0.0)
    text = "Ask the operator whether you can collect the box yourself once it is cleared: then"
    return _computed(box, "collect_yourself", text, sooner, len(names) - 1)


def _chase_papers(box: FollowedBox) -> Help | None:
    """A hold, or the wait for papers, that ends a day after it began or a day from now."""
    known, ends, now_h = box.known, box.journeys.ends_h, 24.0 * box.known.elapsed_days
    held = known.tracked.held_since is not None
    if not held and not known.papers_ahead:
        return None
    leg = known.leg_names.index(known.hold_leg if held else CLEARANCE_LEG)
    settled = np.maximum(ends[leg - 1], now_h) + 24.0 * CONSTANTS.papers_settled_days
    delay_h = 24.0 * (box.journeys.hold_days if held else box.journeys.papers_days)
    sooner = np.clip(ends[leg] - settled, 0.0, delay_h)
    if held:
        text = (
            "Ask the operator and customs today what the box is held for, and send what they ask. If it is free within "
            "a day,"
        )
    else:
        text = "Send the missing papers to the operator today, so that clearance does not wait for them: then"
    return _computed(box, "chase_papers", text, sooner, leg)


def _uncomputed(box: FollowedBox) -> list[Help]:
    known = box.known
    helps = []
    by_now = known.plan_chance_by_now
    silent = known.elapsed_days - known.last_note_days
    if by_now >= CONSTANTS.late_chance:
        helps.append(
            ("ask_operator", f"Ask the operator to trace the box: by its plan {_of_100(by_now)} would be here by now.")
        )
    elif silent >= CONSTANTS.silent_days or known.tracked.held_since is not None:
        said = "it is held up" if known.tracked.held_since is not None else f"nothing was heard for {silent:.0f} days"
        helps.append(("ask_operator", f"Ask the operator where the box is and what it waits for: {said}."))
    if not _pack_lasts(known) and (box.exposure.chill_dose_days > CONSTANTS.notable_chill_days).any():
        chilled = float((box.chill_ahead_days() > CONSTANTS.notable_chill_days).mean(axis=1).max())
        if chilled > CONSTANTS.notable_share:
            helps.append(
                (
                    "ask_warm_room",
                    "Ask the operator to keep the box at room temperature (+15 to +25 °C) until it is handed over: in "
                    f"{percent(chilled)} of the journeys its air still gets cold enough to harm the plants.",
                )
            )
    return [Help(code=code, text=text, days_sooner=None, healthy_gain=None) for code, text in helps]


def _of_100(share: float) -> str:
    return "more than 99 of 100 boxes" if share > 0.99 else f"{100 * share:.0f} of 100 boxes"  # noqa: PLR2004


def _pack_lasts(known: KnownJourney) -> bool:
    box = known.route.plan.box
    return box.heat_pack_w > 0 and box.heat_pack_hours > 24.0 * known.elapsed_days
