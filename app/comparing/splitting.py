"""What it costs to let the boxes of a route travel apart, and what that buys."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from app.batch import bearable, money, percent
from app.comparing.simulated import SimulatedRoute
from app.schemas import Batch, Splitting, Together
from model.decision import chance_loss_within_limit, worst_share_mean


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
    pays = mean.apart > mean.together or keeps
    n = asked.route.plan.n_boxes
    text = (
        f"Sending the {n} boxes apart costs {money(extra, batch.currency)} more; the chance to keep the loss "
        f"within {bearable(batch)} goes from {percent(within.together)} to {percent(within.apart)}, and the worst "
        f"1 in 20 from {money(worst.together, batch.currency)} to {money(worst.apart, batch.currency)}: "
    )
    if mean.apart > mean.together:
        text += "it pays on average."
    elif keeps:
        text += f"it pays, since only apart is the loss kept with the wanted {percent(batch.risk.confidence)}."
    elif within.apart <= within.together and worst.apart <= worst.together:
        text += "neither is better, so it does not pay."
    else:
        text += f"it does not pay on average; it does if that safety is worth {money(extra, batch.currency)} to you."
    return Splitting(
        boxes=n,
        extra_cost=extra,
        chance_none_healthy=none_healthy.said(),
        chance_loss_within_limit=within.said(),
        worst_5pct_margin=worst.said(),
        pays=pays,
        text=text,
    )
