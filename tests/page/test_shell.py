"""The frame around the views: how it is served, and getting about in it."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.page.batch import lead
from tests.page.plots import drawn

VIEWS = {"compare": "Compare", "order": "Order", "hold": "Hold", "boxes": "Boxes", "look-back": "Look back"}


@pytest.mark.parametrize("name", VIEWS)
def test_every_view_has_its_heading_and_no_accessibility_finding(
    page: Page, axe_clean: Callable[[Page], None], name: str
) -> None:
    page.goto(f"/#{name}")
    expect(page.get_by_role("heading", level=1)).to_have_text(VIEWS[name])
    expect(page.get_by_role("link", name=VIEWS[name], exact=True)).to_have_attribute("aria-current", "page")
    axe_clean(page)


@pytest.mark.parametrize("name", VIEWS)
def test_every_view_fits_a_phone(phone: Page, axe_clean: Callable[[Page], None], name: str) -> None:
    phone.goto(f"/#{name}")
    expect(phone.get_by_role("heading", level=1)).to_have_text(VIEWS[name])
    assert phone.evaluate("document.documentElement.scrollWidth") <= 390
    axe_clean(phone)


@pytest.mark.parametrize("name", ["compare", "hold"])
def test_answer_fits_a_phone_and_the_narrowest_screen(
    phone: Page, axe_clean: Callable[[Page], None], shot: Callable[[Page, str], None], name: str
) -> None:
    phone.get_by_role("button", name="Try an invented batch").click()
    lead(phone)
    phone.goto(f"/#{name}")
    said = lead(phone)
    axe_clean(phone)
    shot(phone, f"{name}_390")
    # 320 px: WCAG 2.2, 1.4.10 Reflow.
    for width in (390, 320):
        phone.set_viewport_size({"width": width, "height": 844})
        assert phone.evaluate("document.documentElement.scrollWidth") <= width
    if name == "compare":
        # The bar has room for what to take; the alternative stands where it leads.
        bar = phone.get_by_role("button", name=said.split(";")[0])
        bar.click()
        expect(phone.locator(".lead")).to_be_focused()
        expect(bar).to_be_hidden()
        # The plot behind the fold is drawn anew at each width, and read by a tap.
        phone.get_by_text("More about courier").click()
        plot = phone.get_by_role("img", name="Temperature inside the box on courier, day by day")
        for width in (320, 390):
            phone.set_viewport_size({"width": width, "height": 844})
            phone.wait_for_function(
                "plot => plot.viewBox.baseVal.width === plot.clientWidth", arg=plot.element_handle()
            )
            assert phone.evaluate("document.documentElement.scrollWidth") <= width
            places = drawn(plot).dots
            assert 0.8 * width < places[-1][0] < width
        plot.tap(position={"x": places[2][0], "y": places[2][1]})
        expect(phone.get_by_text(re.compile("^Day 3: "))).to_be_visible()


def test_settings_are_kept_in_the_browser_and_no_cookie_is_set(page: Page) -> None:
    page.get_by_role("button", name="Settings").click()
    page.get_by_label("Temperatures in").select_option("°F")
    page.get_by_label("Currency").fill("usd")
    page.get_by_role("button", name="Keep").click()
    page.reload()
    page.get_by_role("button", name="Settings").click()
    expect(page.get_by_label("Temperatures in")).to_have_value("f")
    expect(page.get_by_label("Currency")).to_have_value("USD")
    assert page.context.cookies() == []
