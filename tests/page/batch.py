"""Filling the form of a batch by keyboard and by hand; places, plants and prices are invented or public codes."""

from playwright.sync_api import Page, expect

SHEET = "Genus\tQty\tCost\tRetail\nScindapsus\t20\t8\t30\nAnthurium\t10\t14,50\t48\n"


def lead(page: Page) -> str:
    """Return the sentence that the answer leads with, once there is one and no newer is under way."""
    expect(page.locator(".answer .lead")).to_be_visible()
    expect(page.locator(".answer[aria-busy]")).to_have_count(0)
    return page.locator(".answer .lead").inner_text()


def fill_batch(page: Page) -> None:
    """Fill in an invented batch through the form of the view that is open."""
    page.get_by_label("From", exact=True).fill("BKK")
    page.get_by_label("To", exact=True).fill("Dublin")
    page.get_by_text("Paste from a spreadsheet").click()
    page.get_by_label("Cells").fill(SHEET)
    page.get_by_role("button", name="Take these lines").click()
    page.get_by_label("Freight of a box").nth(0).fill("150")
    page.get_by_label("Freight of a box").nth(1).fill("325")
