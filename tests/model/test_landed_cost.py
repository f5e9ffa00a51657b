"""Landed cost: worked sums, rounding, and the laws of adding up."""

from collections.abc import Callable
from decimal import Decimal
from math import prod
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.decision.landed_cost import PlantLine, Waybill, landed_cost, minor_digits

repeatable = settings(derandomize=True, deadline=None)


def amounts(waybill: Waybill) -> dict[str, Decimal]:
    """Amount of each item by its code."""
    return {item.code: item.amount for item in landed_cost(waybill).items}


def worked(text: str) -> Decimal:
    """Value of the arithmetic in an item's text, a x b + c x d or a x (b + c), worked out as a reader would."""
    sum_ = text.rpartition(", ")[2].rpartition(": ")[2]
    for word in (" boxes", " box", " waybills", " waybill", " order"):
        sum_ = sum_.replace(word, "")
    if sum_.endswith(")"):
        rate, _, bracket = sum_[:-1].partition(" x (")
        return Decimal(rate) * sum(Decimal(term) for term in bracket.split(" + "))
    return sum(
        (prod((Decimal(f) for f in term.split(" x ")), start=Decimal(1)) for term in sum_.split(" + ")), Decimal(0)
    )


@st.composite
def waybills(draw: st.DrawFn, *, money: st.SearchStrategy[float] | None = None) -> Waybill:
    """Any waybill inside the ranges of the service."""
    money = st.floats(0, 1e9) if money is None else money
    rate, share, boxes = st.floats(0, 2), st.floats(0, 1), draw(st.integers(1, 100))
    return Waybill(
        currency=draw(st.sampled_from(["EUR", "JPY", "KWD", "USD"])),
        lines=tuple(draw(st.lists(st.builds(PlantLine, st.integers(1, 100_000), money), min_size=1, max_size=4))),
        freight=draw(money),
        boxes=boxes,
        waybills=draw(st.sampled_from([1, boxes])),
        handling=draw(money),
        collection=draw(money),
        phyto=draw(money),
        permit=draw(money),
        other=draw(money),
        duty_rate=draw(rate),
        tax_rate=draw(rate),
        dutiable=draw(st.sampled_from(["plants", "plants_and_freight"])),
        tax_reclaimed_share=draw(share),
        cost_of_waiting=draw(money),
    )


class TestWorkedSums:
    """Sums done by hand."""

    def test_duty_and_tax_on_plants(self) -> None:
        waybill = Waybill(
            currency="EUR",
            lines=(PlantLine(20, 8),),
            freight=150,
            handling=35,
            phyto=40,
            duty_rate=0.04,
            tax_rate=0.23,
        )
        # 20 x 8 = 160; 4 % of it 6.40; 23 % of 166.40 = 38.272
        assert amounts(waybill) == {
            "plants": Decimal("160.00"),
            "freight": Decimal("150.00"),
            "handling": Decimal("35.00"),
            "phyto": Decimal("40.00"),
            "duty": Decimal("6.40"),
            "tax": Decimal("38.27"),
        }
        assert landed_cost(waybill).total == Decimal("429.67")

    def test_everything_at_once_in_boxes_apart(self) -> None:
        waybill = Waybill(
            currency="EUR",
            lines=(PlantLine(50, 8), PlantLine(10, 12.5)),
            freight=90,
            boxes=2,
            waybills=2,
            handling=35,
            collection=12,
            phyto=40,
            permit=25,
            other=7.5,
            duty_rate=0.04,
            tax_rate=0.23,
            dutiable="plants_and_freight",
            tax_reclaimed_share=0.5,
            cost_of_waiting=18,
            days_waited=6,
        )
        assert waybill.plants == 60
        # 50 x 8 + 10 x 12.50 = 525; freight 180; 4 % of 705 = 28.20; 23 % of 733.20 = 168.636; half of 168.64 = 84.32
        assert amounts(waybill) == {
            "plants": Decimal("525.00"),
            "freight": Decimal("180.00"),
            "handling": Decimal("70.00"),
            "collection": Decimal("24.00"),
            "phyto": Decimal("80.00"),
            "permit": Decimal("25.00"),
            "other": Decimal("7.50"),
            "duty": Decimal("28.20"),
            "tax": Decimal("168.64"),
            "tax_reclaimed": Decimal("-84.32"),
            "waiting": Decimal("18.00"),
        }
        assert landed_cost(waybill).total == Decimal("1042.02")

    def test_what_is_left_out_costs_nothing(self) -> None:
        waybill = Waybill(currency="EUR", lines=(PlantLine(20, 8),), freight=150)
        assert amounts(waybill) == {"plants": Decimal("160.00"), "freight": Decimal("150.00")}
        assert waybill.border_rate == 0.0

    @pytest.mark.parametrize(
        ("days", "text"),
        [
            ({}, "waiting: 1 order x 18.00"),
            ({"days_waited": 0}, "waiting: 1 order x 18.00"),
            ({"days_waited": 1}, "waiting 1 day: 1 order x 18.00"),
            ({"days_waited": 6}, "waiting 6 days: 1 order x 18.00"),
        ],
    )
    def test_waiting_says_how_long(self, days: dict[str, Any], text: str) -> None:
        waybill = Waybill(currency="EUR", lines=(PlantLine(20, 8),), freight=150, cost_of_waiting=18, **days)
        assert landed_cost(waybill).items[-1].text == text

    def test_border_rate_is_duty_and_what_is_left_of_the_tax_on_both(self) -> None:
        # 0.04 + 0.23 x (1 - 0.25) x (1 + 0.04)
        waybill = Waybill(
            currency="EUR",
            lines=(PlantLine(1, 1.0),),
            freight=0.0,
            duty_rate=0.04,
            tax_rate=0.23,
            tax_reclaimed_share=0.25,
        )
        assert waybill.border_rate == pytest.approx(0.2194, rel=1e-12)

    def test_text_says_how(self) -> None:
        waybill = Waybill(
            currency="EUR", lines=(PlantLine(20, 8),), freight=150, boxes=2, duty_rate=0.04, tax_rate=0.23
        )
        assert [item.text for item in landed_cost(waybill).items] == [
            "plants: 20 x 8.00",
            "freight: 2 boxes x 150.00",
            "duty: 4 % of the plants, 0.04 x 160.00",
            "tax: 23 % of the plants and duty, 0.23 x (160.00 + 6.40)",
        ]

    @pytest.mark.parametrize(
        ("currency", "price", "duty"),
        [
            ("EUR", 0.5, "0.02"),  # 0.025, to the even cent
            ("EUR", 1.5, "0.08"),  # 0.075
            ("JPY", 50, "2"),  # 2.5
            ("JPY", 70, "4"),  # 3.5
            ("KWD", 0.05, "0.002"),  # 0.0025
            ("KWD", 0.07, "0.004"),  # 0.0035
        ],
    )
    def test_halves_go_to_the_even_minor_unit(self, currency: str, price: float, duty: str) -> None:
        waybill = Waybill(currency=currency, lines=(PlantLine(1, price),), freight=0, duty_rate=0.05)
        assert str(amounts(waybill)["duty"]) == duty

    def test_plants_and_freight_are_listed_even_when_free(self) -> None:
        assert set(amounts(Waybill(currency="EUR", lines=(PlantLine(1, 0),), freight=0))) == {"plants", "freight"}


@pytest.mark.parametrize(
    ("currency", "digits"),
    # ISO 4217:2015, table A.1
    [
        *[(code, 2) for code in ("EUR", "USD", "GBP", "THB", "eur")],
        *[(code, 0) for code in ("JPY", "KRW", "VND", "CLP", "ISK", "UGX", "XAF", "XOF", "XPF", "PYG", "RWF", "jpy")],
        *[(code, 3) for code in ("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND")],
        ("CLF", 4),
    ],
)
def test_minor_unit(currency: str, digits: int) -> None:
    assert minor_digits(currency) == digits


@pytest.mark.parametrize("change", [{"lines": ()}, {"boxes": 0}, {"waybills": 0}])
def test_an_empty_waybill_is_refused(change: dict[str, object]) -> None:
    build: Callable[..., Waybill] = Waybill
    with pytest.raises(ValueError, match="at least"):
        build(**{"currency": "EUR", "lines": (PlantLine(1, 1),), "freight": 1} | change)


@repeatable
@given(waybills())
def test_items_add_up_exactly_in_the_minor_unit(waybill: Waybill) -> None:
    cost = landed_cost(waybill)
    scale = {"EUR": 100, "JPY": 1, "KWD": 1000, "USD": 100}[waybill.currency]
    assert cost.total == Decimal(sum(int(item.amount * scale) for item in cost.items)) / scale
    assert all(item.amount * scale == int(item.amount * scale) for item in cost.items)


@repeatable
@given(waybills(money=st.integers(0, 10**8).map(lambda cents: cents / 100)))
def test_the_arithmetic_in_each_text_gives_its_amount(waybill: Waybill) -> None:
    half_a_unit = Decimal("0.5") / 10 ** minor_digits(waybill.currency)
    for item in landed_cost(waybill).items:
        # The reader's default precision of 28 digits is ample; half a minor unit is the rounding itself.
        assert abs(worked(item.text) - item.amount) <= half_a_unit


@repeatable
@given(
    st.lists(st.integers(0, 10**6).map(lambda x: 100.0 * x), min_size=3, max_size=3),
    st.integers(1, 9),
    st.integers(0, 200),
    st.integers(0, 200),
    st.sampled_from([0.0, 0.5, 1.0]),
)
def test_money_is_linear_in_prices(prices: list[float], times: int, duty: int, tax: int, reclaimed: float) -> None:
    def total(factor: int) -> Decimal:
        plant, freight, handling = (200.0 * factor * price for price in prices)
        # Prices in whole twenty-thousands and rates in whole per cent never need rounding.
        return landed_cost(
            Waybill(
                currency="EUR",
                lines=(PlantLine(7, plant),),
                freight=freight,
                boxes=3,
                handling=handling,
                duty_rate=duty / 100,
                tax_rate=tax / 100,
                dutiable="plants_and_freight",
                tax_reclaimed_share=reclaimed,
            )
        ).total

    assert total(times) == times * total(1)
