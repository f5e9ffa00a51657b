"""A plan is changed until the box has left; places, plants and prices are invented or public codes."""

from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.moments import NOW
from tests.page.batch import lead
from tests.page.boxes import changed, planned, read
from tests.page.conftest import Ledger, Watch


def test_a_plan_is_changed_and_kept_under_its_name(
    boxes: tuple[Page, Watch], ledger: Ledger, axe_clean: Callable[[Page], None]
) -> None:
    page, console = boxes
    console.allow("status of 409")
    days = {"closed_dates": ["2027-12-24"], "open_dates": ["2027-12-04"]}
    box = planned(ledger.address, "To be changed", risk={"max_loss_share": 0.2, "confidence": 0.7}, **days)
    # A batch with two routes, of which the plan that is changed has one.
    page.get_by_role("button", name="Try an invented batch").click()
    lead(page)
    page.goto(f"/#boxes/{box['id']}")
    expect(page.get_by_role("link", name="Invented Ferns")).to_have_attribute("href", "#sellers/of/Invented%20Ferns")
    page.get_by_role("button", name="Change the plan").click()
    expect(page.get_by_text("You are changing the plan of To be changed")).to_be_visible()
    expect(page.get_by_label("of so many")).to_have_value("5")
    page.get_by_role("group", name="Line 1").get_by_label("Plants").fill("24")
    expect(page.locator(".lead")).to_contain_text("of 34 plants")
    lead(page)
    axe_clean(page)
    keep_plan(page)
    axe_clean(page)
    expect(page.get_by_label("Name of the box")).to_have_value("To be changed")
    page.get_by_role("button", name="Keep this plan").click()
    expect(page.get_by_role("heading", name="As planned")).to_be_visible()
    now = read(ledger.address, box["id"])
    assert (now["reference"], now["state"], now["forecast"]["plants"]["sent"]) == ("To be changed", "planned", 34)
    # All else as it was, but for how many draws were asked for.
    kept = {name: value for name, value in box["plan"].items() if name not in ("lines", "draws")}
    assert {name: now["plan"][name] for name in kept} == kept
    page.goto("/#compare")
    expect(page.get_by_label("Freight of a box").nth(1)).to_have_value("288")
    expect(page.get_by_role("button", name="Bring back the one before")).to_be_visible()
    page.goto(f"/#boxes/{box['id']}")
    # Left meanwhile: refused, and what is on record stays.
    page.get_by_role("button", name="Change the plan").click()
    lead(page)
    keep_plan(page)
    changed(ledger.address, now, "PATCH", "", {"departed_at": NOW.isoformat()})
    page.get_by_role("button", name="Keep this plan").click()
    expect(page.get_by_text("Only the plan of a shipment that is still planned can be changed")).to_be_visible()
    assert read(ledger.address, box["id"])["plan"] == now["plan"]


def keep_plan(page: Page) -> None:
    """Go from the comparison to what is to be kept."""
    page.get_by_role("link", name="Change the plan to this").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Change the plan of To be changed")
