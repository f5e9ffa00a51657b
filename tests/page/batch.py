"""Filling the form of a batch by keyboard and by hand; places, plants and prices are invented or public codes."""

import re

from playwright.sync_api import Page, expect

SHEET = "Genus\tQty\tCost\tRetail\nAglaonema\t20\t8\t31\nHoya\t10\t12,50\t42\n"


def lead(page: Page) -> str:
    """Return the sentence that the answer leads with, once there is one and no newer is under way."""
    expect(page.locator(".answer .lead")).to_be_visible()
    expect(page.locator(".answer[aria-busy]")).to_have_count(0)
    return page.locator(".answer .lead").inner_text()


def seven_lines(page: Page) -> None:
    """Put seven lines with cultivars in the place of those of the batch."""
    rows = [("Aglaonema", "Ruby Ray", 20), ("Hoya", "Silver Dust", 10)]
    rows += [(genus, "Early Frost", 10) for genus in ("Alocasia", "Begonia", "Philodendron", "Monstera", "Anthurium")]
    sheet = "".join(f"{genus}\t{cultivar}\t{n}\t9\t38\n" for genus, cultivar, n in rows)
    if not page.get_by_label("Cells").is_visible():
        page.get_by_text("Paste from a spreadsheet").click()
    page.get_by_label("Cells").fill(f"Genus\tCultivar\tQty\tCost\tRetail\n{sheet}")
    page.get_by_role("button", name="Take these lines").click()
    expect(page.get_by_text("7 lines read.")).to_be_visible()
    page.get_by_text("Paste from a spreadsheet").click()
    expect(page.get_by_text(re.compile(r"^\d+ of 80$")).first).to_be_visible()
    page.evaluate("document.fonts.ready")


def height(page: Page) -> int:
    """Return how high the whole page is, in px."""
    lead(page)
    return int(page.evaluate("document.documentElement.scrollHeight"))


def fill_batch(page: Page) -> None:
    """Fill in an invented batch through the form of the view that is open."""
    page.get_by_label("From", exact=True).fill("SRG")
    page.get_by_label("To", exact=True).fill("Glasgow")
    page.get_by_text("Paste from a spreadsheet").click()
    page.get_by_label("Cells").fill(SHEET)
    page.get_by_role("button", name="Take these lines").click()
    page.get_by_label("Freight of a box").nth(0).fill("135")
    page.get_by_label("Freight of a box").nth(1).fill("288")
