"""What the plants' fate does to the money: sales, claims on dead plants, margin. Float64 arrays, draw axis first."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.decision.landed_cost import LandedCost, Waybill

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Recourse:
    """What a seller gives for a dead plant, and the chance (0 to 1) that a claim for it succeeds."""

    kind: Literal["refund", "replacement", "none"]
    chance: float = 1.0


def recovered_by_line(
    dead: ArrayLike,
    unit_cost: ArrayLike,
    recourse: Recourse,
    *,
    healthy_chance: ArrayLike,
    freight_per_plant: ArrayLike,
) -> FloatArray:
    """Expected value of the claims on plants dead at unboxing, line by line.

    Parameters
    ----------
    dead : array_like, shape (draws, lines)
        Dead plants at unboxing.
    unit_cost : array_like, shape (lines,)
        Price paid for one plant.
    recourse : Recourse
        A refund is worth its unit cost. A replacement comes with the next order: it is worth the unit cost less its
        share of that freight, times the chance that it arrives healthy, and never less than nothing, as the buyer may
        decline it. Either counts with the chance that the claim succeeds.
    healthy_chance : array_like, broadcast against (draws, lines)
        Chance that a replacement arrives healthy; used by `replacement` only.
    freight_per_plant : array_like, broadcast against (lines,)
        A plant's share of the next freight; used by `replacement` only.

    Returns
    -------
    ndarray, shape (draws, lines)
        The success of a claim is averaged over, not drawn: the mean is right, the spread a little too small.
    """
    price = np.asarray(unit_cost, dtype=np.float64)
    match recourse.kind:
        case "refund":
            value = price
        case "replacement":
            value = np.maximum(price - np.asarray(freight_per_plant, dtype=np.float64), 0.0) * np.asarray(
                healthy_chance
            )
        case "none":
            value = np.zeros_like(price)
    return np.asarray(dead, dtype=np.float64) * (recourse.chance * value)


def proceeds(healthy: ArrayLike, damaged: ArrayLike, sale_value: ArrayLike, damaged_value_share: float) -> FloatArray:
    """Sales of each line, shape (draws, lines): healthy plants at full value, damaged ones at a share of it."""
    worth = np.asarray(healthy, dtype=np.float64) + damaged_value_share * np.asarray(damaged, dtype=np.float64)
    return worth * np.asarray(sale_value, dtype=np.float64)


def margin(
    healthy_two_weeks: ArrayLike,
    damaged: ArrayLike,
    sale_value: ArrayLike,
    damaged_value_share: float,
    recovered: ArrayLike,
    landed_cost: float | Decimal,
) -> FloatArray:
    """Margin of the batch: sales plus claims less landed cost.

    Parameters
    ----------
    healthy_two_weeks : array_like, shape (draws, lines)
        Plants healthy two weeks on.
    damaged : array_like, shape (draws, lines)
        Plants sold at `damaged_value_share` of their value. Whether plants whose injury showed late are among them is
        the caller's choice: add them here to sell them as damaged, leave them out to write them off.
    sale_value : array_like, shape (lines,)
        What the buyer takes for one healthy plant, without sales tax.
    damaged_value_share : float
        Between 0 and 1.
    recovered : array_like, shape (draws,)
        Value of the claims.
    landed_cost : float or Decimal
        Total of the landed cost.

    Returns
    -------
    ndarray, shape (draws,)
    """
    sales = proceeds(healthy_two_weeks, damaged, sale_value, damaged_value_share).sum(axis=-1)
    return np.asarray(sales + np.asarray(recovered, dtype=np.float64) - float(landed_cost), dtype=np.float64)


def cost_by_line(waybill: Waybill, cost: LandedCost) -> FloatArray:
    """Landed cost spread over the lines, shape (lines,); sums to the total.

    A line bears its own plants with their duty and tax; everything else is shared equally between plants.
    """
    quantity = np.array([line.quantity for line in waybill.lines], dtype=np.float64)
    unit_cost = np.array([line.unit_cost for line in waybill.lines], dtype=np.float64)
    own = quantity * unit_cost * (1.0 + waybill.border_rate)
    shared = (float(cost.total) - own.sum()) * quantity / quantity.sum()
    return np.asarray(own + shared, dtype=np.float64)
