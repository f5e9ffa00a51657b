"""Landed cost of one route, item by item, in exact decimal arithmetic, so the printed sum can be checked by hand."""

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from typing import Literal, NamedTuple

# ISO 4217:2015 table A.1, from memory: the currencies whose minor unit is not a hundredth.
_MINOR_DIGITS = {
    code: digits
    for digits, codes in (
        (0, "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"),
        (3, "BHD IQD JOD KWD LYD OMR TND"),
        (4, "CLF UYW"),
    )
    for code in codes.split()
}
# Products of a 17-digit float and a large amount stay exact; the default 28 digits would round them twice.
_DECIMAL_DIGITS = 80


class PlantLine(NamedTuple):
    """Plants of one kind in the order: how many, and the price of one in the order's currency."""

    quantity: int
    unit_cost: float


@dataclass(frozen=True, kw_only=True)
class Waybill:
    """What one route charges for one batch; all money in `currency`.

    Parameters
    ----------
    currency : str
        ISO 4217 code; sets only the minor unit to which amounts are rounded.
    lines : tuple of PlantLine
        Quantity and unit cost of each line; at least one.
    freight : float
        Per box.
    boxes, waybills : int
        Boxes, and waybills they travel under: 1 when together, as many as boxes when apart.
    handling, collection, phyto : float
        Per waybill: handling, collection from the carrier, phytosanitary certificate.
    permit, other : float
        Per order.
    duty_rate, tax_rate : float
        As shares (0.04 is 4 %).
    dutiable : {"plants", "plants_and_freight"}
        What duty and tax are charged on.
    tax_reclaimed_share : float
        Share of the tax that the buyer gets back, 0 to 1.
    cost_of_waiting : float
        Cost of holding the order until it ships, for the whole wait.
    days_waited : int
        Length of that wait, used in the explanation only.

    Raises
    ------
    ValueError
        When there is no line, or no box or waybill.
    """

    currency: str
    lines: tuple[PlantLine, ...]
    freight: float
    boxes: int = 1
    waybills: int = 1
    handling: float = 0.0
    collection: float = 0.0
    phyto: float = 0.0
    permit: float = 0.0
    other: float = 0.0
    duty_rate: float = 0.0
    tax_rate: float = 0.0
    dutiable: Literal["plants", "plants_and_freight"] = "plants"
    tax_reclaimed_share: float = 0.0
    cost_of_waiting: float = 0.0
    days_waited: int = 0

    def __post_init__(self) -> None:
        if not self.lines:
            raise ValueError("a waybill needs at least one line of plants")
        if self.boxes < 1 or self.waybills < 1:
            raise ValueError(f"boxes and waybills must be at least 1, got {self.boxes} and {self.waybills}")

    @property
    def plants(self) -> int:
        """Plants on the waybill, over all lines."""
        return sum(line.quantity for line in self.lines)

    @property
    def border_rate(self) -> float:
        """Duty plus tax not reclaimed, per unit of dutiable value."""
        return self.duty_rate + self.tax_rate * (1.0 - self.tax_reclaimed_share) * (1.0 + self.duty_rate)


@dataclass(frozen=True)
class CostItem:
    """One item of the landed cost: a stable code, the arithmetic in plain words, the rounded amount."""

    code: str
    text: str
    amount: Decimal


@dataclass(frozen=True)
class LandedCost:
    """Items of the landed cost and their exact sum."""

    items: tuple[CostItem, ...]
    total: Decimal


def minor_digits(currency: str) -> int:
    """Decimals of a currency's minor unit (ISO 4217); 2 for a code that is not listed as an exception."""
    return _MINOR_DIGITS.get(currency.upper(), 2)


def landed_cost(waybill: Waybill) -> LandedCost:
    """Cost of having the batch at the door, item by item.

    Each amount is rounded half to even to the currency's minor unit. Duty, tax and reclaimed tax are worked out from
    the rounded amounts before them, as a hand check from the printed sum would be. Items of zero are left out, plants
    and freight apart. The total is the exact sum of the items.
    """
    with localcontext(prec=_DECIMAL_DIGITS, rounding=ROUND_HALF_EVEN):
        items = _items(waybill, minor_digits(waybill.currency))
        kept = tuple(item for item in items if item.amount or item.code in {"plants", "freight"})
        return LandedCost(kept, sum((item.amount for item in kept), Decimal(0)))


def _items(waybill: Waybill, digits: int) -> list[CostItem]:
    items: list[CostItem] = []

    def add(code: str, text: str, amount: Decimal) -> Decimal:
        rounded = round(amount, digits)
        items.append(CostItem(code, text, rounded))
        return rounded

    def add_each(code: str, words: str, count: int, each: float) -> Decimal:
        return add(code, f"{words} x {_shown(_exact(each), digits)}", count * _exact(each))

    plants = add(
        "plants",
        "plants: "
        + " + ".join(f"{line.quantity} x {_shown(_exact(line.unit_cost), digits)}" for line in waybill.lines),
        sum((line.quantity * _exact(line.unit_cost) for line in waybill.lines), Decimal(0)),
    )
    freight = add_each("freight", f"freight: {_counted(waybill.boxes, 'box', 'boxes')}", waybill.boxes, waybill.freight)
    papers = _counted(waybill.waybills, "waybill", "waybills")
    add_each("handling", f"handling: {papers}", waybill.waybills, waybill.handling)
    add_each("collection", f"collection: {papers}", waybill.waybills, waybill.collection)
    add_each("phyto", f"phytosanitary certificate: {papers}", waybill.waybills, waybill.phyto)
    add_each("permit", "permit: 1 order", 1, waybill.permit)
    add_each("other", "other: 1 order", 1, waybill.other)

    with_freight = waybill.dutiable == "plants_and_freight"
    dutiable = plants + freight if with_freight else plants
    shown = f"{plants:f} + {freight:f}" if with_freight else f"{plants:f}"
    rate = _exact(waybill.duty_rate)
    duty = add(
        "duty",
        f"duty: {_percent(rate)} of the plants{' and freight' if with_freight else ''}, "
        f"{_shown(rate)} x {f'({shown})' if with_freight else shown}",
        rate * dutiable,
    )
    rate = _exact(waybill.tax_rate)
    tax = add(
        "tax",
        f"tax: {_percent(rate)} of the plants{', freight' if with_freight else ''} and duty, "
        f"{_shown(rate)} x ({shown} + {duty:f})",
        rate * (dutiable + duty),
    )
    share = _exact(waybill.tax_reclaimed_share)
    add("tax_reclaimed", f"tax reclaimed: less {_percent(share)} of the tax, -{_shown(share)} x {tax:f}", -share * tax)
    wait = f" {_counted(waybill.days_waited, 'day', 'days')}" if waybill.days_waited else ""
    add_each("waiting", f"waiting{wait}: 1 order", 1, waybill.cost_of_waiting)
    return items


def _exact(value: float) -> Decimal:
    # repr gives the shortest decimal that is this float, so 0.04 is four hundredths and not 0.040000000000000000832...
    return Decimal(repr(float(value)))


def _shown(value: Decimal, digits: int = 0) -> str:
    plain = value.normalize()
    exponent = plain.as_tuple().exponent
    return f"{plain:.{max(digits, -exponent if isinstance(exponent, int) else 0)}f}"


def _percent(share: Decimal) -> str:
    return f"{_shown(100 * share)} %"


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"
