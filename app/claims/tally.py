"""What a claim is about and what it is worth: plants dead or missing, line by line, to the minor unit of money."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
from numpy.typing import NDArray

from app.boxes import plant_lines
from app.schemas import ClaimLine, RecourseKind, RecourseWorth
from app.store import ShipmentLife
from model.decision import Recourse, minor_digits, recovered_by_line

KINDS: tuple[RecourseKind, ...] = ("refund", "replacement", "none")


@dataclass(frozen=True, slots=True, eq=False)
class Replacement:
    """What bears on a replacement: its share of the next freight, and the chance that it arrives healthy, by line.

    `chance_is` says in words where the chance comes from.
    """

    freight_per_plant: float
    healthy_chance: NDArray[np.float64]
    chance_is: str


def rounded(amount: float | Decimal, currency: str | None) -> Decimal:
    """Return an amount in the minor unit of its currency, half to even; hundredths where it has none."""
    exact = amount if isinstance(amount, Decimal) else Decimal(repr(float(amount)))
    return exact.quantize(Decimal(1).scaleb(-minor_digits(currency or "")), rounding=ROUND_HALF_EVEN)


def in_words(amount: float | Decimal, currency: str | None) -> str:
    """Return an amount as it is written: ``1234.50 EUR``."""
    return " ".join(filter(None, (f"{rounded(amount, currency):f}", currency)))


def price_in_words(price: float, currency: str | None) -> str:
    """Return the price of one plant without its currency, with all its decimals."""
    exact = Decimal(repr(float(price)))
    exponent = exact.normalize().as_tuple().exponent
    assert isinstance(exponent, int)  # noqa: S101 - a price is finite
    return f"{exact:.{max(minor_digits(currency or ''), -exponent)}f}"


def claim_lines(life: ShipmentLife) -> list[ClaimLine]:
    """Return the lines of an arrived shipment with what is lost of each."""
    record = life.stored.record
    lines = []
    for line, counted in zip(record.lines, plant_lines(life), strict=True):
        missing = counted.missing or 0
        value = None
        if line.dead is not None and (line.unit_cost is not None or not line.dead + missing):
            cost = Decimal(repr(float(line.unit_cost or 0.0)))
            value = float(rounded((line.dead + missing) * cost, record.currency))
        lines.append(
            ClaimLine(**counted.model_dump(exclude={"missing"}), missing=missing, unit_cost=line.unit_cost, value=value)
        )
    return lines


def total_value(lines: Sequence[ClaimLine], currency: str | None) -> Decimal:
    """Return the exact sum of the values that are known."""
    return sum((rounded(line.value, currency) for line in lines if line.value is not None), Decimal(0))


def recourse_worth(
    lines: Sequence[ClaimLine], chance: float, replacement: Replacement, currency: str | None
) -> list[RecourseWorth]:
    """Return what the claim is worth under each arrangement: expected money, before the seller has answered."""
    lost = np.array([[(line.dead or 0) + line.missing for line in lines]])
    unit_cost = np.array([line.unit_cost or 0.0 for line in lines])
    texts = _texts(chance, replacement, currency)
    worth = []
    for kind in KINDS:
        by_line = recovered_by_line(
            lost,
            unit_cost,
            Recourse(kind, chance),
            healthy_chance=replacement.healthy_chance,
            freight_per_plant=replacement.freight_per_plant,
        )
        worth.append(RecourseWorth(kind=kind, worth=float(rounded(by_line.sum(), currency)), text=texts[kind]))
    return worth


def _texts(chance: float, replacement: Replacement, currency: str | None) -> dict[str, str]:
    freight = in_words(replacement.freight_per_plant, currency)
    return {
        "refund": f"The price of what is dead or missing, times {chance:g}, the chance that the claim is honoured.",
        "replacement": (
            f"New plants come with the next order. You pay their freight again, about {freight} a plant; some die on "
            f"the way ({replacement.chance_is}); the claim is honoured with the chance {chance:g}. A plant whose "
            "freight costs more than its price is worth nothing here."
        ),
        "none": "Nothing comes back, unless the payment or the carrier gives something.",
    }
