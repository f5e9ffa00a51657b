"""A box that was never planned, put down by hand as a whole or not at all; places, plants and prices are invented."""

from collections.abc import Callable
from typing import Any

import httpx
from playwright.sync_api import Page, expect

from tests.page.conftest import Ledger, Watch

NAME = 'Found "behind" the shed'


def boxes_named(address: str, name: str) -> list[dict[str, Any]]:
    """Return the boxes of a reference as they are listed."""
    answer = httpx.get(f"{address}/v1/shipments", params={"reference": name}, timeout=30).raise_for_status()
    items: list[dict[str, Any]] = answer.json()["items"]
    return items


def fill(page: Page) -> None:
    """Fill in a box of two kinds, of the second of which only the dead were counted."""
    texts = {"Name of the box": NAME, "Seller": "Invented Ferns", "Left on": "2027-11-12", "Opened on": "2027-11-19"}
    for label, text in {**texts, "From": "Semarang", "To": "GLA"}.items():
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_role("button", name="Add a plant").click()
    counts = {"In box": "10", "Healthy": "7", "Damaged": "1", "Dead": "1", "Cost each, EUR": "12,50"}
    for label, text in {"Genus": "Hoya", **counts}.items():
        page.get_by_role("group", name="Plant 1").get_by_label(label).fill(text)
    for label, text in {"Genus": "Begonia", "Cultivar": "Nowhere", "In box": "5", "Dead": "1"}.items():
        page.get_by_role("group", name="Plant 2").get_by_label(label).fill(text)


def test_a_box_is_put_down_by_hand_as_a_whole(
    boxes: tuple[Page, Watch], ledger: Ledger, axe_clean: Callable[[Page], None]
) -> None:
    page, console = boxes
    console.allow("status of (422|409)")
    page.goto("/#boxes")
    page.get_by_role("link", name="Enter a box that has arrived").click()
    fill(page)
    page.reload()  # what was entered is kept
    page.get_by_role("button", name="Put it on record").click()
    # 7 + 1 + 1 are not 10; nothing of the box is recorded.
    dead = page.get_by_role("group", name="Plant 1").get_by_label("Dead")
    expect(dead).to_have_attribute("aria-invalid", "true")
    assert boxes_named(ledger.address, NAME) == []
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        axe_clean(page)
    dead.fill("2")
    page.get_by_role("button", name="Put it on record").click()
    expect(page.get_by_role("heading", name="What arrived")).to_be_visible()
    [box] = boxes_named(ledger.address, NAME)
    assert (box["state"], box["arrival_date"], box["seller"]) == ("arrived", "2027-11-19", "Invented Ferns")
    names = ("genus", "cultivar", "sent", "healthy", "damaged", "dead")
    assert [tuple(line[name] for name in names) for line in box["lines"]] == [
        ("Hoya", None, 10, 7, 1, 2),
        ("Begonia", "Nowhere", 5, None, None, 1),
    ]
    stored = httpx.get(f"{ledger.address}/v1/shipments/{box['id']}", timeout=30).json()
    assert (stored["plan"], stored["forecast"]) == (None, None)
    # Another box of the name is not taken for this one.
    page.goto("/#boxes/by-hand")
    fill(page)
    page.get_by_role("button", name="Put it on record").click()
    page.get_by_role("group", name="Plant 1").get_by_label("Dead").fill("2")
    page.get_by_label("Opened on").fill("2027-11-20")
    page.get_by_role("button", name="Put it on record").click()
    expect(page.get_by_label("Name of the box")).to_have_attribute("aria-invalid", "true")
    assert [one["arrival_date"] for one in boxes_named(ledger.address, NAME)] == ["2027-11-19"]
