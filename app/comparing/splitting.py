"""What it costs to let the boxes of a route travel apart, and what that buys."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from app.batch import bearable, money, percent, rough
from app.comparing.simulated import SimulatedRoute
from app.schemas import Batch, Splitting, Together
from model.decision import chance_loss_within_limit, noise, worst_share_mean
from model.reference import CONSTANTS


class _Both(NamedTuple):
    """One number for boxes that travel together and one for boxes that travel apart."""

    together: float
    apart: float

    def said(self) -> Together:
        return Together(together=self.together, apart=self.apart)


def splitting(batch: Batch, asked: SimulatedRoute, other: SimulatedRoute) -> Splitting:
    """Compare the boxes of a route travelling together and apart.

    It pays when the mean margin rises, or when only apart the bearable loss is kept at the wanted confidence and the
    margin stays above 0.
    """
    apart, together = (asked, other) if asked.route.plan.apart else (other, asked)
    sent = sum(line.quantity for line in batch.lines)

    def both(measure: Callable[[SimulatedRoute], float]) -> _Both:
        return _Both(measure(together), measure(apart))

    within = both(lambda s: chance_loss_within_limit(s.drawn.dead.sum(axis=1), sent, batch.risk.max_loss_share))
    none_healthy = both(lambda s: float(np.mean(s.drawn.healthy.sum(axis=1) == 0)))
    worst = both(lambda s: worst_share_mean(s.money.margin))
    mean = both(lambda s: float(s.money.margin.mean()))
    extra = float(apart.money.cost.total - together.money.cost.total)
    keeps = within.together < batch.risk.confidence <= within.apart and mean.apart >= 0
    # Without more to pay the means differ by luck alone, and what is spared in a bad case is free.
    free = extra <= 0 and worst.apart > worst.together
    pays = (mean.apart > mean.together and extra > 0) or keeps or free
    n = asked.route.plan.n_boxes
    costs = f"costs {money(extra, batch.currency)} more" if extra > 0 else "costs nothing more"
    changes = []
    if percent(within.together) != percent(within.apart):
        changes.append(
            f"the chance to keep the loss within {bearable(batch)} goes from {percent(within.together)} to "
            f"{percent(within.apart)}"
        )
    if rough(worst.together, batch.currency) != rough(worst.apart, batch.currency):
        changes.append(
            f"the worst 1 in 20 goes from {rough(worst.together, batch.currency)} to "
            f"{rough(worst.apart, batch.currency)}"
        )
    text = f"Sending the {n} boxes apart {costs}"
    text += f"; {' and '.join(changes)}: " if changes else ": "
    if keeps:
        text += f"it pays, since only apart is the loss kept with the wanted {percent(batch.risk.confidence)}."
    elif pays:
        text += "it pays on average." if extra > 0 else "send them apart."
    elif within.apart <= within.together and worst.apart <= worst.together:
        text += "neither is better, so it does not pay." if extra > 0 else "it changes nothing for the better."
    elif extra > 0:
        text += f"it does not pay on average; it does if that safety is worth {money(extra, batch.currency)} to you."
    else:
        text += "neither is plainly better."
    return Splitting(
        boxes=n,
        extra_cost=extra,
        chance_none_healthy=none_healthy.said(),
        chance_loss_within_limit=within.said(),
        worst_5pct_margin=worst.said(),
        pays=pays,
        text=text,
    )


def worth_apart(batch: Batch, asked: SimulatedRoute, other: SimulatedRoute, found: Splitting) -> float | None:
    """Return what it is worth on average to let boxes travel apart that were asked to travel together.

    Infinite where only apart the bearable loss is kept, since that changes what to choose; None where it is not worth
    doing: neither the mean margin nor that of the worst 1 in 20 rises by more than about nothing.
    """
    if asked.route.plan.apart or not found.pays:
        return None
    within, worst = found.chance_loss_within_limit, found.worst_5pct_margin
    if within.together < batch.risk.confidence <= within.apart:
        return np.inf
    gap = other.money.margin - asked.money.margin
    gain, least = float(gap.mean()), CONSTANTS.equal_cost_share * float(asked.money.cost.total)
    rises = gain > noise(gap, orders=gap.size, least=least) or worst.apart - worst.together > least
    return gain if rises else None
