"""What to do once the box is open, step by step with dates."""

from datetime import date, datetime, timedelta

from app.boxes.claim_window import claim_until
from app.schemas import NextStep
from app.store import ShipmentLife
from model.reference import CONSTANTS

COMMON_PRACTICE = "common practice, no source"
AS_PLANNED = "the claim window of the plan; the seller's own terms decide"
SECOND_HAND = "extension texts, second hand"
WATER = timedelta(days=CONSTANTS.rehydrate_days)
RECHECK = timedelta(days=CONSTANTS.recheck_days)
RECHECK_OPEN = timedelta(days=CONSTANTS.recheck_open_days)
ISOLATION = timedelta(weeks=CONSTANTS.isolate_most_weeks)


def recheck_on(opened_on: date) -> date:
    """Return the day to look again."""
    return opened_on + RECHECK


def is_counted_again(opened_on: date, recheck_date: date | None) -> bool:
    """Whether a box was counted again late enough to say something of late loss."""
    return recheck_date is not None and (recheck_date - opened_on).days >= CONSTANTS.recheck_earliest_days


def next_steps(
    life: ShipmentLife, delivered_at: datetime, opened_at: datetime, window_hours: float | None, now: datetime
) -> list[NextStep]:
    """Return the steps after an arrival, in the order to take them.

    Parameters
    ----------
    life : ShipmentLife
    delivered_at, opened_at : datetime
        The day's start and its noon where only the date is known.
    window_hours : float or None
        Of the seller, from delivery; None where it is not known, or nothing is to be claimed.
    now : datetime
    """
    window_ends = claim_until(delivered_at, window_hours)

    def step(code: str, text: str, begin: datetime, end: datetime, status: str, *, done: bool = False) -> NextStep:
        state = "done" if done else "ahead" if now < begin else "now" if now <= end else "past"
        return NextStep.model_validate(
            {"code": code, "text": text, "from": begin, "until": max(begin, end), "status": status, "state": state}
        )

    window = (
        f"No claim window is recorded: ask the seller today; {CONSTANTS.claim_window_h} h is most common."
        if window_hours is None
        else f"The window is {window_hours:g} h from delivery."
    )
    return [
        step(
            "photograph",
            "Photograph or film the box, the roots and every plant with its label, before anything is trimmed or"
            " thrown away.",
            delivered_at,
            window_ends,
            COMMON_PRACTICE,
        ),
        step(
            "claim",
            f"Write to the seller with the counts and the photographs. {window}",
            delivered_at,
            window_ends,
            AS_PLANNED if window_hours is not None else COMMON_PRACTICE,
            done=life.claim_outcome is not None,
        ),
        step(
            "rehydrate",
            "With gloves on, cut off what is rotten with a clean blade, then stand the roots in clean water.",
            opened_at,
            opened_at + WATER,
            COMMON_PRACTICE,
        ),
        step(
            "shade_and_humidity",
            "Keep them out of sun in a humid, airy enclosure; pot them after the first two days and open the enclosure"
            " little by little.",
            opened_at,
            opened_at + RECHECK,
            COMMON_PRACTICE,
        ),
        step(
            "isolate",
            f"Keep them apart from your other plants for {CONSTANTS.isolate_least_weeks} to "
            f"{CONSTANTS.isolate_most_weeks} weeks and look for pests. If you find one that is not known where"
            " you live, tell the plant-health authority before you treat or move anything.",
            opened_at,
            opened_at + ISOLATION,
            SECOND_HAND,
        ),
        step(
            "recheck",
            f"Count them again about {CONSTANTS.recheck_days} days on: injury by cold can stay invisible until then.",
            opened_at + RECHECK,
            opened_at + RECHECK + RECHECK_OPEN,
            COMMON_PRACTICE,
            done=is_counted_again(opened_at.date(), life.stored.record.recheck_date),
        ),
    ]
