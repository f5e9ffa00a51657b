"""Every view of boxes, filled, at both widths: no accessibility finding, nothing wider than the screen."""

from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.page.boxes import arrived, on_its_way, planned
from tests.page.conftest import DESK, PHONE, Ledger, Watch, opened

# Tables with a column out of sight.
CLIPPED = """() => [...document.querySelectorAll(".scroll")]
    .filter((around) => around.scrollWidth > around.clientWidth)
    .map((around) => around.getAttribute("aria-label"))"""
GENERA = ("Aglaonema", "Hoya", "Alocasia", "Begonia", "Philodendron", "Monstera", "Anthurium")
SEVEN = [{"genus": genus, "quantity": 10, "unit_cost": 8, "sale_value": 31} for genus in GENERA]
WIDTHS = {"desk": DESK, "phone": PHONE}


@pytest.fixture(params=WIDTHS)
def sized(browser: Browser, ledger: Ledger, request: pytest.FixtureRequest) -> Iterator[tuple[Page, str]]:
    """Yield a tab at a width, and the name of the width."""
    for page, _ in opened(browser, ledger.address, WIDTHS[request.param]):
        yield page, request.param


def test_filled_views(
    sized: tuple[Page, str], ledger: Ledger, axe_clean: Callable[[Page], None], shot: Callable[[Page, str], None]
) -> None:
    page, width = sized
    plan = planned(ledger.address, f"Planned at {width}")
    way = on_its_way(ledger.address, f"On its way at {width}")
    here = arrived(ledger.address, f"Here at {width}", [(18, 14, 2, 2), (10, 7, 0, 3)], days=15)
    views = {
        "boxes": ("Boxes", "To do"),
        f"boxes/{plan['id']}": (plan["reference"], "As planned"),
        f"boxes/{way['id']}": (way["reference"], "What helps now"),
        f"boxes/{here['id']}": (here["reference"], "Next steps"),
        f"boxes/{way['id']}/arrival": (f"Unpack: {way['reference']}", "When"),
        f"boxes/{here['id']}/recheck": (f"Count again: {here['reference']}", None),
        f"boxes/{here['id']}/claim": (f"Claim for {here['reference']}", "Until when"),
        "look-back": ("Look back", "The ledger as a file"),
    }
    for address, (heading, part) in views.items():
        page.goto(f"/#{address}")
        expect(page.get_by_role("heading", level=1)).to_have_text(heading)
        if part:
            expect(page.get_by_role("heading", name=part)).to_be_visible()
        expect(page.get_by_text("Loading …")).to_have_count(0)
        if address.endswith("/claim"):
            # 4 dead or missing at 8 and 3 dead at 12.50; 48 hours have passed.
            lead = "Claim 69.50 GBP at once: the time to write ended 13 November 2027, 12:00."
            expect(page.locator(".lead")).to_have_text(lead)
        axe_clean(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= WIDTHS[width]["width"]
        assert page.evaluate(CLIPPED) == []
        shot(page, f"{address.replace(here['id'], 'here').replace(way['id'], 'way').replace('/', '-')}-{width}")


def test_a_box_is_counted_by_keyboard_alone(boxes: tuple[Page, Watch], ledger: Ledger) -> None:
    page = boxes[0]
    box = on_its_way(ledger.address, "By keyboard", lines=SEVEN)
    page.goto(f"/#boxes/{box['id']}/arrival")
    expect(page.get_by_role("group", name="ordered")).to_have_count(7)
    assert page.evaluate("document.documentElement.scrollHeight") < 2500
    dead = page.get_by_role("button", name="One more, dead: Hoya")
    while not dead.evaluate("button => button === document.activeElement"):
        page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    # Each tap is said, with all that it changed; what has the focus is not under the strip at the bottom.
    expect(page.get_by_role("status").first).to_have_text("Hoya: 8 healthy, 0 damaged, 2 dead of 10")
    strip = page.locator(".sticky").bounding_box()
    button = dead.bounding_box()
    assert strip
    assert button
    assert button["y"] + button["height"] <= strip["y"]
    record = page.get_by_role("button", name="Record these counts")
    while not record.evaluate("button => button === document.activeElement"):
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What arrived")).to_be_visible()
