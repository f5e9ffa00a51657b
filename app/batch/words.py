"""Shares and amounts of money in words."""

from app.schemas import Batch
from model.decision import minor_digits
from model.reference import CONSTANTS

# How long sellers give for a claim in the policies that were read.
CLAIM_WINDOWS = f"{CONSTANTS.claim_window_shortest_h} h to {CONSTANTS.claim_window_longest_days} days"


def percent(share: float) -> str:
    """Return a share in whole per cent."""
    return f"{100 * share:.0f} %"


def money(amount: float, currency: str) -> str:
    """Return an amount in words, rounded as the currency is."""
    digits = 0 if abs(amount) >= 100 else minor_digits(currency)  # noqa: PLR2004 - cents tell nothing there
    return f"{amount:,.{digits}f} {currency}"


def bearable(batch: Batch) -> str:
    """Return the bearable loss in words."""
    return f"{percent(batch.risk.max_loss_share)} dead"
