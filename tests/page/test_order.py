"""How many and what to order, from the form to the batch; places, plants and prices are invented or public codes."""

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.page.batch import fill_batch, lead


def fits(page: Page, axe_clean: Callable[[Page], None]) -> None:
    """Check the view at both widths."""
    for width in (1280, 390):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for table in page.get_by_role("region", name=re.compile("^Table: line by line")).all():
            assert table.evaluate("scroll => scroll.scrollWidth <= scroll.clientWidth")
        axe_clean(page)


def test_how_many_to_order(page: Page, axe_clean: Callable[[Page], None]) -> None:
    page.goto("/#order")
    fill_batch(page)
    # Without a number of one's own as many are wanted healthy as stand in the batch: 20 Aglaonema.
    expect(page.locator(".answer .lead")).to_contain_text(re.compile("Aglaonema by .*at least 20 healthy"))
    page.get_by_label("Plant", exact=True).select_option("Hoya")
    page.get_by_label("Plants wanted healthy").fill("6")
    sure = page.get_by_label("times in ten sure").first
    sure.fill("10")
    possible = "Nothing is certain: answered for 9.99 in 10, the most there is."
    expect(page.get_by_role("group", name="What you want").get_by_text(possible)).to_be_visible()
    # A box may be lost whole: what is offered is the surest order worth placing, not one of thousands.
    expect(page.locator(".answer .lead")).to_contain_text("since a box may be lost whole")
    offered = re.match(r"Order (\d+) Hoya by .*: at least 6 healthy with 95 % chance, ", lead(page))
    assert offered is not None
    expect(page.get_by_role("button", name=f"Take {offered[1]} into the batch")).to_be_visible()
    sure.fill("8")
    expect(page.locator(".answer .lead")).to_contain_text("at least 6 healthy with 80 % chance")
    found = re.match(r"Order (\d+) Hoya by (courier|air cargo): ", lead(page))
    assert found is not None
    # Enough for six of which some die, and the row of the route says the same.
    assert int(found[1]) > 6
    row = page.get_by_role("row", name=re.compile(f"^{found[2]} ✓ costs least"))
    expect(row.get_by_role("cell").first).to_contain_text(found[1])
    fits(page, axe_clean)
    page.get_by_role("region", name=found[2]).get_by_role("button", name=f"Take {found[1]} into the batch").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Compare")
    expect(page.get_by_role("group", name="Line 2").get_by_label("Plants")).to_have_value(found[1])
    expect(page.get_by_role("group", name="Line 1").get_by_label("Plants")).to_have_value("20")


def test_what_to_order_within_a_budget(page: Page, axe_clean: Callable[[Page], None]) -> None:
    page.goto("/#order/what")
    fill_batch(page)
    # One that costs more than it sells for.
    page.get_by_role("button", name="Add a line").click()
    dear = page.get_by_role("group", name="Line 3")
    for name, text in (("Genus", "Begonia"), ("Plants", "5"), ("Cost each", "9"), ("Sells for", "2")):
        dear.get_by_label(name).fill(text)
    page.get_by_label("May cost in all").fill("€ 300,-")
    expect(page.locator(".answer .lead")).to_contain_text(re.compile("within €300: .*leave out.*Begonia"))
    found = re.search(r"by (courier|air cargo) within €300: (€\d+) landed", lead(page))
    assert found is not None
    table = page.get_by_role("region", name="Table: line by line")
    expect(table.get_by_role("row", name=re.compile("^Begonia none of 5"))).to_be_visible()
    fits(page, axe_clean)
    page.get_by_role("button", name="Take this order into the batch").click()
    # The batch costs in the comparison what the order was said to cost.
    route = page.get_by_role("region", name=found[1], exact=True)
    landed = route.locator("dl.facts div", has_text="Landed cost").locator("dd").first
    expect(landed).to_have_text(found[2])
    expect(page.get_by_role("button", name="Bring back the one before")).to_be_visible()
    page.goto("/#order/what")
    expect(page.get_by_label("May cost in all")).to_have_value("300")
