"""Shares and amounts of money in words."""

from collections.abc import Mapping, Sequence
from decimal import ROUND_HALF_UP, Decimal
from math import floor

from app.schemas import Batch
from model.decision import minor_digits
from model.reference import CONSTANTS

# How long sellers give for a claim in the policies that were read.
CLAIM_WINDOWS = f"{CONSTANTS.claim_window_shortest_h} h to {CONSTANTS.claim_window_longest_days} days"


# Beyond it whole per cent would say all of a share that is not.
ALL_BUT = 0.99


def percent(share: float) -> str:
    """Return a share in whole per cent."""
    return f"{half_up(Decimal(share) * 100, 0)} %"


def percent_short_of(share: float, asked: float) -> str:
    """Return a share below one that is asked for: in tenths, never rounded up, where whole per cent look alike."""
    whole = percent(share)
    return whole if whole != percent(asked) else f"{floor(1000 * share) / 10:.1f} %"


def lost_whole_words(name: str, chance: float | None) -> str | None:
    """Return what to say of an arrived box that was perhaps lost whole; None where that is not worth a word."""
    if chance is None or chance < CONSTANTS.lost_worth_saying:
        return None
    return (
        f"{name} was lost whole with {percent(chance)} chance: forgotten, frozen on an apron, opened and left, or the "
        "like, which days and temperature do not show. As far as that is so, it counts against neither seller nor "
        "packing."
    )


def boxes_words(n: int) -> str:
    """Return a number of boxes."""
    return "1 box" if n == 1 else f"{n:,} boxes"


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence: "a, b and c"."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def of_journeys(shares: Mapping[str, float]) -> str:
    """Return which share of the journeys on each route something happens in; shares by route, at least one."""
    (name, share), *others = shares.items()
    rest = [f"{_nearly_all(other)} on {route}" for route, other in others]
    return listed([f"{_nearly_all(share)} of the journeys on {name}", *rest])


def _nearly_all(share: float) -> str:
    return "all" if share == 1.0 else f"over {100 * ALL_BUT:.0f} %" if share > ALL_BUT else percent(share)


def money(amount: float, currency: str) -> str:
    """Return an amount in words, rounded as the currency is."""
    return f"{shown(amount, currency):,} {currency}"


def rough(amount: float, currency: str) -> str:
    """Return an amount in whole units, as a sentence to be read at a glance says it; small ones as `money` does."""
    return f"{half_up(amount, 0):,} {currency}" if abs(amount) >= 10 else money(amount, currency)  # noqa: PLR2004 - as above


def half_up(amount: float | Decimal, digits: int) -> Decimal:
    """Return an amount rounded half up, away from zero, as tables of the page round it; never -0."""
    rounded = Decimal(amount).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)
    return rounded if rounded else abs(rounded)


def shown(amount: float, currency: str) -> Decimal:
    """Return an amount as it is shown: whole from 100 on, where cents tell nothing, else as the currency is."""
    return half_up(amount, 0 if abs(amount) >= 100 else minor_digits(currency))  # noqa: PLR2004 - a hundred


def apart(one: float, other: float) -> float:
    """Return the difference of two amounts as whoever reads both in whole units finds it."""
    return float(half_up(one, 0) - half_up(other, 0))


def bearable(batch: Batch) -> str:
    """Return the bearable loss in words."""
    return f"{percent(batch.risk.max_loss_share)} dead"
