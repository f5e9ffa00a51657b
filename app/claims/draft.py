"""A message to the seller in short, simple sentences: the seller may read English as a second language."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from app.claims.tally import in_words, price_in_words
from app.schemas import ClaimLine, RecourseKind

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
ASKED = {
    "refund": ["Please refund {amount}."],
    "replacement": [
        "Please send new plants with my next order.",
        "I pay the freight of that order. Please send these plants free of charge.",
    ],
    "none": ["What can you do for me?", "You can refund {amount}, or send new plants with my next order."],
}
NOTHING = "No plant was dead and none was missing. There is nothing to claim from the seller."


@dataclass(frozen=True, slots=True)
class Told:
    """What the message tells: `order` names it, `opened_at` is local, `total` what is lost, as far as it is priced."""

    order: str
    seller: str | None
    ship_date: date
    arrival_date: date
    opened_at: datetime | None
    currency: str | None
    lines: Sequence[ClaimLine]
    total: float
    agreed: RecourseKind | None
    files: Sequence[str]


def day_in_words(day: date) -> str:
    """Return a date that is read the same everywhere: ``5 January 2027``."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def plant_in_words(line: ClaimLine) -> str:
    """Return the name of a line's plant."""
    return f"{line.genus} {line.cultivar}" if line.cultivar else line.genus


def draft(claim: Told) -> str:
    """Return the message; without a dead or missing plant it says that there is nothing to claim."""
    lines, order, files = claim.lines, claim.order, claim.files
    dead = [line for line in lines if line.dead]
    missing = [line for line in lines if line.missing]
    if not dead and not missing:
        return NOTHING
    parts = [f"Subject: Claim for order {order}", f"Hello{' ' + claim.seller if claim.seller else ''},"]
    came = [
        f"This is about order {order}.",
        f"You sent it on {day_in_words(claim.ship_date)}.",
        f"It came to me on {day_in_words(claim.arrival_date)}.",
    ]
    if claim.opened_at is not None:
        opened = f"{day_in_words(claim.opened_at.date())} at {claim.opened_at:%H:%M} (my local time)"
        came.append(f"I opened the box on {opened}.")
    parts.append("\n".join(came))
    if dead:
        parts.append(
            _listed(
                ["These plants were dead when I opened the box. The roots or the stem are rotten."],
                [f"{plant_in_words(line)}: {line.dead} dead of {line.sent}.{_noted(line)}" for line in dead],
            )
        )
    if missing:
        parts.append(
            _listed(
                ["These plants were not in the box."],
                [f"{plant_in_words(line)}: {line.missing} missing of {line.quantity}." for line in missing],
            )
        )
    if strays := [line for line in lines if line.quantity is None and line.sent] if _was_ordered(lines) else []:
        parts.append(
            _listed(
                ["These plants came. I did not order them."],
                [f"{plant_in_words(line)}: {line.sent}." for line in strays],
            )
        )
    if damaged := sum(line.damaged or 0 for line in lines):
        them = "1 more plant is" if damaged == 1 else f"{damaged} more plants are"
        parts.append(f"{them} damaged but alive. I do not ask for money for that.")
    parts.append("\n".join(_asked(claim)))
    if files:
        parts.append(_listed(["I send these files with this message:"], files))
    else:
        parts.append("I can send photos of the plants and of the box.")
    parts += ["Please answer soon. Please tell me if you need more from me.", "Thank you."]
    return "\n\n".join(parts)


def _asked(claim: Told) -> list[str]:
    lines, total, currency = claim.lines, claim.total, claim.currency
    lost = [line for line in lines if (line.dead or 0) + line.missing]
    priced = [line for line in lost if line.value is not None and line.unit_cost]
    if len(priced) < len(lost) or not total:
        return ["Please tell me what you can do: a refund, or new plants with my next order?"]
    sums = " + ".join(
        f"{(line.dead or 0) + line.missing} x {price_in_words(line.unit_cost or 0.0, currency)}" for line in priced
    )
    amount = in_words(total, currency)
    return [
        f"The price of these plants: {sums} = {amount}.",
        *(s.format(amount=amount) for s in ASKED[claim.agreed or "none"]),
    ]


def _was_ordered(lines: Sequence[ClaimLine]) -> bool:
    """Whether a plan says what was ordered; a shipment from a file does not."""
    return any(line.quantity is not None for line in lines)


def _listed(head: Sequence[str], items: Sequence[str]) -> str:
    return "\n".join([*head, *(f"- {item}" for item in items)])


def _noted(line: ClaimLine) -> str:
    return f" ({line.note})" if line.note else ""
