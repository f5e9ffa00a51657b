"""Which lines of a wish list to order, and how many of each: the best mean margin by one route within a budget."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.batch import MOST_BOXES
from app.comparing.simulated import SimulatedRoute
from app.schemas import WishListRequest
from model.decision import landed_cost

Array = NDArray[np.float64]
# Items are rounded one by one, so that a sum in proportion is a few cents off.
KEPT_BACK = 0.05


@dataclass(frozen=True, slots=True)
class OrderChoice:
    """An order by one route; `quantities` are of the lines asked, 0 where one is left out."""

    route: str
    quantities: tuple[int, ...]
    boxes: int
    landed_cost: float
    margin_mean: float


def best_order(request: WishListRequest, simulated: Sequence[SimulatedRoute]) -> OrderChoice | None:
    """Return the order with the best mean margin of all routes; None where no order earns its landed cost.

    On each route and for each number of boxes the lines are filled up to the quantities asked, once in the order of
    what a plant earns and once of what it earns for its price, as far as boxes and budget go, and plants are exchanged
    one for another as long as that earns more. It need not be the best there is. A plant is taken to bring the same on
    average whatever the quantity.
    """
    choices = [choice for s in simulated if (choice := _on_route(request, s)) is not None]
    return max(choices, key=lambda choice: choice.margin_mean, default=None)


def least_cost(request: WishListRequest, simulated: Sequence[SimulatedRoute]) -> float:
    """Return what the cheapest order costs before any of its plants: its box, papers and freight."""
    none = [0] * len(request.lines)
    return min(float(landed_cost(s.route.waybill(request, none, s.route.asked.boxes or 1)).total) for s in simulated)


def _on_route(request: WishListRequest, s: SimulatedRoute) -> OrderChoice | None:
    """Return the best order found by one route, None where it earns nothing; its sums are of the exact waybill."""
    route, lines = s.route, request.lines
    brought = s.money.line_margin + s.money.line_cost
    asked = np.array([line.quantity for line in lines])
    brings = brought / asked

    def cost(quantities: Sequence[int], boxes: int) -> float:
        return float(landed_cost(route.waybill(request, quantities, boxes)).total)

    # Beside what the boxes cost, the sum is in proportion to the price of the plants, with their duty and tax.
    none, every = [0] * len(lines), [line.quantity for line in lines]
    first, second = cost(none, 1), cost(none, 2)
    price = np.array([line.unit_cost for line in lines])
    total_price = float(price @ asked)
    own = price * ((cost(every, 1) - first) / total_price if total_price else 1.0)
    shelf = _Shelf(asked, own, brings - own)

    best: tuple[float, int, list[int]] = (0.0, 0, none)
    full = -(-int(asked.sum()) // route.capacity)
    for boxes in [route.asked.boxes] if route.asked.boxes else range(1, min(full, MOST_BOXES) + 1):
        of_boxes = first + (boxes - 1) * (second - first)
        room = int(asked.sum()) if route.asked.boxes else boxes * route.capacity
        quantities = shelf.filled(room, None if request.budget is None else request.budget - of_boxes - KEPT_BACK)
        best = max(best, (shelf.earned(quantities) - of_boxes, boxes, quantities))
    _, boxes, quantities = best
    if not any(quantities):
        return None
    total = cost(quantities, boxes)
    margin = float(brings @ np.array(quantities)) - total
    if margin <= 0 or (request.budget is not None and total > request.budget):
        return None
    return OrderChoice(route.asked.name, tuple(quantities), boxes, total, margin)


class _Shelf:
    """Plants to choose from: of each line how many there are, what one costs, and what it earns beyond that."""

    def __init__(self, asked: NDArray[np.int64], own: Array, earns: Array) -> None:
        self._asked, self._own, self._earns = asked, own, earns
        self._by_earnings = np.argsort(-earns, kind="stable")
        self._by_return = np.argsort(-earns / np.maximum(own, 1e-9), kind="stable")
        self._gains, self._dearer = earns[None, :] - earns[:, None], own[None, :] - own[:, None]

    def earned(self, quantities: Sequence[int]) -> float:
        return float(self._earns @ np.array(quantities))

    def filled(self, room: int, money: float | None) -> list[int]:
        """Return how many to take of each line for so much room and money, None being no limit."""
        if money is None:
            return [int(n) for n in self._taken(self._by_earnings, room, None)]
        taken = [
            self._exchanged(self._taken(order, room, money), money) for order in (self._by_earnings, self._by_return)
        ]
        return [int(n) for n in max(taken, key=lambda counts: float(self._earns @ counts))]

    def _taken(self, order: NDArray[np.int64], room: int, money: float | None) -> NDArray[np.int64]:
        counts = np.zeros_like(self._asked)
        for i in order:
            if self._earns[i] <= 0:
                continue
            bought = self._asked[i] if money is None else _affordable(money, self._own[i], self._asked[i])
            counts[i] = min(bought, room)
            room -= int(counts[i])
            if money is not None:
                money -= float(counts[i] * self._own[i])
        return counts

    def _exchanged(self, counts: NDArray[np.int64], money: float) -> NDArray[np.int64]:
        """Return the counts after plants have given way to others that earn more, the best exchange first."""
        left = money - float(self._own @ counts)
        while True:
            possible = (counts > 0)[:, None] & (counts < self._asked)[None, :] & (self._dearer <= left)
            worth = np.where(possible, self._gains, 0.0)
            out, into = np.unravel_index(np.argmax(worth), worth.shape)
            if worth[out, into] <= 0:
                return counts
            most = min(counts[out], self._asked[into] - counts[into])
            n = _affordable(left, self._dearer[out, into], most)
            counts[out] -= n
            counts[into] += n
            left -= float(n * self._dearer[out, into])


def _affordable(money: float, each: float, most: int) -> int:
    """Return how many of `most` that cost so much each the money is enough for."""
    return int(most) if each <= 0 else min(int(most), int(max(money, 0.0) // each))
