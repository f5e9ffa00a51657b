"""What is known of a seller, what is still to ask, and that a batch is filled in from it; all sellers are invented."""

from collections.abc import Callable

import httpx
from playwright.sync_api import Page, expect

from tests.page.conftest import Ledger, Watch


def test_a_seller_is_recorded_and_asked_until_all_is_answered(
    boxes: tuple[Page, Watch], ledger: Ledger, axe_clean: Callable[[Page], None]
) -> None:
    page, console = boxes
    console.allow("status of (412|422)")
    page.goto("/#sellers/new")
    page.get_by_label("Name").fill("Invented / Palms")
    page.get_by_label("It is").select_option("a grower")
    page.get_by_label("It ships from").fill("thailand")
    page.get_by_label("Container").select_option(index=1)
    page.get_by_role("button", name="Record this seller").click()
    ask = page.get_by_role("region", name="To ask before the first order")
    expect(ask.get_by_role("listitem")).to_have_count(8)  # of twelve four are answered: a grower grows its plants
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        axe_clean(page)
    page.get_by_label("For dead plants it gives").select_option("a refund")
    page.get_by_label("Heat packs a box").fill("2")
    page.get_by_label("Grows the plants itself").select_option("no")
    page.get_by_role("button", name="Keep").click()
    # A grower that does not grow its plants.
    expect(page.get_by_label("Grows the plants itself")).to_have_attribute("aria-invalid", "true")
    page.get_by_label("Grows the plants itself").select_option("yes")
    page.get_by_role("button", name="Keep").click()
    expect(ask.get_by_role("listitem")).to_have_count(6)
    stored = httpx.get(f"{ledger.address}/v1/sellers/invented / palms", timeout=30).raise_for_status().json()
    assert (stored["kind"], stored["country"], stored["recourse"]) == ("grower", "TH", "refund")
    assert (stored["packing"]["heat_packs"], stored["answers"]["grows_plants"]) == (2, True)
    # Recorded once, whatever the spelling.
    page.goto("/#sellers/new")
    page.get_by_label("Name").fill("INVENTED / palms")
    page.get_by_role("button", name="Record this seller").click()
    expect(page.get_by_label("Name")).to_have_attribute("aria-invalid", "true")
    page.goto("/#sellers")
    page.get_by_role("link", name="Invented / Palms").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Invented / Palms")
    expect(page.get_by_label("Heat packs a box")).to_have_value("2")
    # A first visit puts a seller on record of whom a fact was given.
    page.goto("/#start/2")
    page.get_by_label("Seller", exact=True).fill("Invented Mosses")
    page.get_by_label("The seller is").select_option("a grower")
    with page.expect_response("**/v1/sellers/Invented%20Mosses") as answered:
        page.get_by_role("button", name="Next").click()
    assert (answered.value.status, answered.value.json()["kind"]) == (201, "grower")
