"""Money of a route: landed cost, claims and margin of the drawn outcomes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.batch import PreparedBatch, PreparedRoute
from app.comparing.simulation import RouteDraws
from app.schemas import Batch
from model.decision import LandedCost, Waybill, cost_by_line, landed_cost, margin, proceeds, recovered_by_line

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class RouteMoney:
    """Landed cost, and claims and margin for each draw.

    `line_margin`, (lines,), holds means; `line_cost`, (lines,), is the landed cost shared as `cost_by_line` does;
    `line_recovered` is (draws, lines).
    """

    waybill: Waybill
    cost: LandedCost
    recovered: Array
    margin: Array
    line_margin: Array
    line_cost: Array
    line_recovered: Array


def route_money(
    batch: Batch,
    prepared: PreparedBatch,
    route: PreparedRoute,
    drawn: RouteDraws,
    *,
    waiting: float = 0.0,
    days_waited: int = 0,
) -> RouteMoney:
    """Return the money of a route; plants whose injury shows late are sold as damaged ones."""
    quantities = [line.quantity for line in batch.lines]
    waybill = route.waybill(batch, quantities, route.plan.n_boxes, waiting=waiting, days_waited=days_waited)
    cost = landed_cost(waybill)
    unit_cost = np.array([line.unit_cost for line in batch.lines])
    sale_value = np.array([line.sale_value for line in batch.lines])
    by_line = recovered_by_line(
        drawn.dead,
        unit_cost,
        prepared.recourse,
        healthy_chance=drawn.healthy_chance.mean(axis=0),
        freight_per_plant=route.asked.freight / route.capacity,
    )
    damaged = drawn.damaged + drawn.healthy - drawn.healthy_two_weeks
    share = batch.damaged_value_share
    recovered = by_line.sum(axis=1)
    sales = proceeds(drawn.healthy_two_weeks.mean(axis=0), damaged.mean(axis=0), sale_value, share)
    line_cost = cost_by_line(waybill, cost)
    return RouteMoney(
        waybill=waybill,
        cost=cost,
        recovered=recovered,
        margin=margin(drawn.healthy_two_weeks, damaged, sale_value, share, recovered, cost.total),
        line_margin=sales + by_line.mean(axis=0) - line_cost,
        line_cost=line_cost,
        line_recovered=by_line,
    )
