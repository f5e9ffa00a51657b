"""Simulated routes judged against each other: what the choice, its sentence and the answer rest on."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from app.comparing.simulated import SimulatedBatch, SimulatedRoute
from app.comparing.splitting import splitting, worth_apart
from app.schemas import Splitting
from model.decision import Summary, chance_best, chance_loss_within_limit, summarise, worst_share_mean


@dataclass(frozen=True, slots=True, eq=False)
class RouteResult:
    """A route of a comparison.

    `worst` is the mean margin of the worst 1 in 20 draws; `chance_best` is the share of draws in which no other route
    has a better margin; `splitting` is None for a single box, `worth_apart` where its boxes need not travel apart.
    """

    simulated: SimulatedRoute
    sent: int
    healthy_two_weeks: Summary
    margin: Summary
    worst: float
    chance_loss_within_limit: float
    chance_best: float
    splitting: Splitting | None
    worth_apart: float | None

    @property
    def name(self) -> str:
        """The name of the route in the request."""
        return self.simulated.route.asked.name


def route_results(batch: SimulatedBatch, simulated: Sequence[SimulatedRoute]) -> list[RouteResult]:
    """Return the results of all routes of a batch."""
    plain = plain_results(batch, simulated)

    def split(result: RouteResult) -> RouteResult:
        s = result.simulated
        if s.route.plan.n_boxes == 1:
            return result
        other = batch.other_travel(s.route)
        found = splitting(batch.request, s, other)
        return replace(result, splitting=found, worth_apart=worth_apart(batch.request, s, other, found))

    return [split(result) for result in plain]


def plain_results(batch: SimulatedBatch, simulated: Sequence[SimulatedRoute]) -> list[RouteResult]:
    """Return the results of all routes of a batch, without a look at how boxes would travel otherwise."""
    request = batch.request
    sent = sum(line.quantity for line in request.lines)
    best = chance_best(np.stack([s.money.margin for s in simulated], axis=1))
    return [
        RouteResult(
            simulated=s,
            sent=sent,
            healthy_two_weeks=summarise(s.drawn.healthy_two_weeks.sum(axis=1)),
            margin=summarise(s.money.margin),
            worst=worst_share_mean(s.money.margin),
            chance_loss_within_limit=chance_loss_within_limit(
                s.drawn.dead.sum(axis=1), sent, request.risk.max_loss_share
            ),
            chance_best=float(chance),
            splitting=None,
            worth_apart=None,
        )
        for s, chance in zip(simulated, best, strict=True)
    ]
