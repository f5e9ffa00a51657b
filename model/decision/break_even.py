"""Break-even between two routes: the size of batch from which the dearer one pays."""

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.decision.landed_cost import Waybill

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class RouteEconomics:
    """A route's mean margin as a function of the number of plants, at a fixed mix.

    mean margin(n) = n x gain_per_plant - boxes(n) x cost_per_box - waybills(n) x cost_per_waybill - cost_per_order

    Parameters
    ----------
    name : str
    gain_per_plant : float
        Mean sale value and claims of one plant less its cost with duty and tax.
    cost_per_box : float
        Freight, with duty and tax on it where freight is dutiable.
    cost_per_waybill : float
        Handling, collection and phytosanitary certificate.
    cost_per_order : float
        Permit, other costs, cost of waiting.
    plants_per_box : float
        Boxes are added as this fills.
    apart : bool
        Whether each box has its own waybill.
    """

    name: str
    gain_per_plant: float
    cost_per_box: float
    cost_per_waybill: float
    cost_per_order: float
    plants_per_box: float
    apart: bool

    @classmethod
    def of(cls, name: str, waybill: Waybill, mean_margin: float, *, capacity: int, apart: bool) -> Self:
        """Economics of a route from its waybill and the mean margin of the batch on it.

        The gain per plant is solved so that `mean_margin`, predicted for that batch, comes back at its size. It is
        then held constant, although a bigger batch in boxes that travel apart has the same mean but another spread.
        When the buyer set another number of boxes than `capacity` (plants) needs, boxes go on filling as in the batch.
        """
        plants = waybill.plants
        as_needed = -(-plants // capacity) == waybill.boxes
        on_freight = waybill.border_rate if waybill.dutiable == "plants_and_freight" else 0.0
        without_gain = cls(
            name=name,
            gain_per_plant=0.0,
            cost_per_box=waybill.freight * (1.0 + on_freight),
            cost_per_waybill=waybill.handling + waybill.collection + waybill.phyto,
            cost_per_order=waybill.permit + waybill.other + waybill.cost_of_waiting,
            plants_per_box=float(capacity) if as_needed else plants / waybill.boxes,
            apart=apart,
        )
        gain = (mean_margin + float(without_gain.shipping_cost(plants))) / plants
        return replace(without_gain, gain_per_plant=gain)

    def shipping_cost(self, plants: ArrayLike) -> FloatArray:
        """Everything but the plants and their duty and tax, for each number of plants."""
        # Dividing by a quotient of whole numbers may overshoot a whole number of boxes by rounding.
        boxes = np.ceil(np.asarray(plants, dtype=np.float64) / self.plants_per_box - 1e-9)
        waybills = boxes if self.apart else 1.0
        return np.asarray(boxes * self.cost_per_box + waybills * self.cost_per_waybill + self.cost_per_order)

    def mean_margin(self, plants: ArrayLike) -> FloatArray:
        """Mean margin for each number of plants."""
        return np.asarray(np.asarray(plants, dtype=np.float64) * self.gain_per_plant - self.shipping_cost(plants))


@dataclass(frozen=True)
class BreakEven:
    """Where one route's mean margin overtakes another's.

    Parameters
    ----------
    from_, to : str
        Route ahead of this size, and the one that overtakes it.
    batch_sale_value : float
        Sale value of that many plants at the mix.
    plants : int
        Smallest number of plants at which `to` is at least as good; the cost of a new box may throw it back.
    """

    from_: str
    to: str
    batch_sale_value: float
    plants: int


def break_even(
    first: RouteEconomics,
    second: RouteEconomics,
    *,
    quantities: ArrayLike,
    sale_values: ArrayLike,
    max_plants: int = 100_000,
) -> BreakEven | None:
    """Smallest batch from which the route dearer to ship has at least the cheaper one's mean margin.

    Quantities are scaled at the mix of `quantities` and `sale_values`, both of shape (lines,), to every whole number
    of plants up to `max_plants`; boxes are added as they fill. The dearer route is the one with the higher shipping
    cost for the batch given (`second` on a tie). None when it never overtakes, or is ahead with a single plant; then
    `overtakes` with the routes the other way round tells whether the other one catches up.
    """
    quantity, value = np.asarray(quantities, dtype=np.float64), np.asarray(sale_values, dtype=np.float64)
    plants = quantity.sum()
    cheaper, dearer = first, second
    if second.shipping_cost(plants) < first.shipping_cost(plants):
        cheaper, dearer = second, first
    return overtakes(cheaper, dearer, sale_value_per_plant=float(quantity @ value / plants), max_plants=max_plants)


def overtakes(
    from_: RouteEconomics, to: RouteEconomics, *, sale_value_per_plant: float, max_plants: int = 100_000
) -> BreakEven | None:
    """Smallest number of plants at which `to`, behind with one plant, has at least the mean margin of `from_`.

    None when it never has up to `max_plants`, or has with a single plant.
    """
    plants = np.arange(1, max_plants + 1)
    theirs, ours = from_.mean_margin(plants), to.mean_margin(plants)
    # Equal to a billionth is equal: a tie in exact arithmetic must not be lost to rounding.
    ahead = ours - theirs >= -1e-9 * np.maximum(1.0, np.abs(theirs))
    if ahead[0] or not ahead.any():
        return None
    size = int(plants[ahead.argmax()])
    return BreakEven(
        from_=from_.name,
        to=to.name,
        batch_sale_value=size * sale_value_per_plant,
        plants=size,
    )
