"""Boxes as a list of what to do, by its dates, and those dates as a calendar file."""

import re
from collections.abc import Callable, Iterator

import icalendar
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.page.boxes import arrived, on_its_way
from tests.page.conftest import PHONE, opened


@pytest.fixture
def own_page(browser: Browser, fresh_server: str) -> Iterator[Page]:
    """Yield a tab at phone width in the dark, on a server whose boxes are those of the test."""
    for page, watch in opened(browser, fresh_server, PHONE):
        watch.allow("INTERNET_DISCONNECTED")
        page.emulate_media(color_scheme="dark")
        yield page


def test_the_most_pressing_first(
    own_page: Page, fresh_server: str, axe_clean: Callable[[Page], None], shot: Callable[[Page, str], None]
) -> None:
    """Now is Friday 26 November 2027, 12:00 UTC; a claim window is 48 h unless a plan says otherwise."""
    page = own_page
    some_dead, none_dead = [(20, 14, 2, 4), (10, 10, 0, 0)], [(20, 20, 0, 0), (10, 10, 0, 0)]
    on_its_way(fresh_server, "Late one", days=19)
    counting = on_its_way(fresh_server, "Counting")
    arrived(fresh_server, "Again", none_dead, days=15)
    arrived(fresh_server, "Too late", some_dead, days=5)
    arrived(fresh_server, "Claim me", some_dead, days=1)
    page.goto(f"/#boxes/{counting['id']}/arrival")
    page.get_by_role("button", name="One more, dead: Hoya").click()
    page.context.set_offline(True)
    page.get_by_role("button", name="Record these counts").click()
    expect(page.get_by_text("are not sent yet").first).to_be_visible()
    page.get_by_role("navigation", name="Views").get_by_role("link", name="Boxes").click()
    todo = page.get_by_role("region", name="To do").get_by_role("listitem")
    expect(todo.first).to_contain_text(re.compile("Counts not sent.*Counting"))
    page.context.set_offline(False)
    page.goto("/#boxes")
    expected = [
        r"Claim by Sat,? 27 Nov,? 12:00, in 24 h.*Claim me",
        r"Claim by Sun,? 28 Nov,? 12:00.*Counting",
        r"Late since .*Late one",
        r"Count again, due since Thu,? 25 Nov.*Again",
        r"Claim window over since Tue,? 23 Nov.*Too late",
    ]
    expect(todo).to_have_count(len(expected))
    for item, words in zip(todo.all(), expected, strict=True):
        expect(item).to_contain_text(re.compile(words))
    card = page.get_by_role("article").filter(has_text="Claim me")
    expect(card).to_contain_text(re.compile(r"Claim by Sat.*Count again on Thu,? 9 Dec"))
    axe_clean(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    shot(page, "to-do")
    with page.expect_download() as offered:
        page.get_by_role("button", name="Dates as a calendar file").click()
    names = {
        str(event["summary"])
        for event in icalendar.Calendar.from_ical(offered.value.path().read_bytes()).walk("VEVENT")
    }
    assert {"Last moment to claim from Invented Ferns: Claim me", "Count again: Again"} <= names
    page.get_by_role("region", name="On the way").get_by_role("link", name="Late one").click()
    expect(page.locator(".lead")).to_have_text(
        re.compile(r"^Late since .*: 9 in 10 such boxes were open by then\. Opened")
    )
