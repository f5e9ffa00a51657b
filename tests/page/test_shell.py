"""The frame around the views: how it is served, and getting about in it."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

VIEWS = {"compare": "Compare", "hold": "Hold", "boxes": "Boxes", "look-back": "Look back"}


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
