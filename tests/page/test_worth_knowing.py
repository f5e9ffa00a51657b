"""What it is worth to know, in the page: asked for when it is unfolded, and in the words of the service."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.page.batch import lead

TITLE = "What it would be worth to know"


def unfolded(page: Page) -> dict[str, object]:
    """Take the invented batch, unfold the part, and return what the service answered."""
    page.get_by_role("button", name="Try an invented batch").click()
    assert lead(page)
    with page.expect_response("**/v1/worth-knowing") as answered:
        page.get_by_text(TITLE, exact=True).click()
    answer: dict[str, object] = answered.value.json()
    return answer


def test_words_of_the_service_stand_there(page: Page, axe_clean: Callable[[Page], None]) -> None:
    answer = unfolded(page)
    part = page.get_by_role("region", name=TITLE)
    known, learned, notes = answer["known"], answer["learned"], answer["notes"]
    assert isinstance(known, list)
    assert isinstance(learned, list)
    assert isinstance(notes, list)
    part.get_by_text("How this is counted").click()
    expect(part.get_by_text(notes[0])).to_be_visible()
    said = part.text_content() or ""
    assert str(answer["moves"]) in said
    # Each is in the table by its name or among the rest with its words, and none is forgotten.
    in_table = [one for one in known if one["clear"] or one["spread_share"] >= 0.05]
    expect(part.locator("tbody tr")).to_have_count(len(in_table))
    for row, one in zip(part.locator("tbody tr").all(), in_table, strict=True):
        expect(row).to_contain_text(one["name"])
        expect(row.locator("td").first).to_contain_text("about" if one["clear"] else "nothing")
    assert all(one["text"] in said for one in (*known, *learned) if one not in in_table and "EUR" not in one["text"])
    axe_clean(page)


@pytest.mark.parametrize("tab", ["page", "phone"])
def test_it_is_no_wider_than_the_screen(
    tab: str, request: pytest.FixtureRequest, shot: Callable[[Page, str], None], axe_clean: Callable[[Page], None]
) -> None:
    page: Page = request.getfixturevalue(tab)
    unfolded(page)
    expect(page.get_by_role("region", name=TITLE).locator("table").first).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    shot(page, f"worth-knowing-{tab}")
    if tab == "phone":
        axe_clean(page)
