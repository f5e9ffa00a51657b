"""Numbers, dates and temperatures as people write and read them."""

import pytest
from playwright.sync_api import Page

from app.ledger.csv_cells import AMBIGUOUS_DATE

READ = "async ([text]) => (await import('/page/fields.js')).readNumber(text)"
IN_PAGE_WORDS = "async ([text]) => (await import('/page/page_words.js')).inPageWords(text)"
SAID = "async ([text]) => (await import('/page/settings.js')).said(text)"


def set_up(page: Page, **settings: str) -> None:
    """Keep settings in the browser and load the page anew."""
    page.evaluate("settings => localStorage.setItem('transit.settings', JSON.stringify(settings))", settings)
    page.reload()


@pytest.mark.parametrize(
    ("locale", "numbers"),
    [
        ("en-GB", {"1,200": 1200, "1.200": 1.2}),
        ("de-DE", {"1,200": 1.2, "1.200": 1200}),
    ],
)
def test_numbers_with_point_or_comma(page: Page, locale: str, numbers: dict[str, float]) -> None:
    set_up(page, locale=locale)
    anywhere: dict[str, float | str | None] = {
        "8": 8, "8.5": 8.5, "8,50": 8.5, "0,500": 0.5, ".5": 0.5, "-3": -3, "1 200": 1200, "1\u202f200,5": 1200.5,
        "1.234,5": 1234.5, "1,234.5": 1234.5, "1.234.567": 1234567, "€ 8": 8, "8 €": 8, "25%": 25, "": None, " ": None,
        "many": "many", "1,2,3": "1,2,3", "12a": "12a", "1e3": "1e3",
    }  # fmt: skip
    for text, number in (anywhere | numbers).items():
        assert page.evaluate(READ, [text]) == number, text


def test_sentences_of_the_server_in_the_readers_dates_and_degrees(page: Page) -> None:
    sentence = "Ship on 2027-01-11: +15 to +25 °C, at 30 °C."
    set_up(page, locale="en-GB", unit="c")
    assert page.evaluate(SAID, [sentence]) == "Ship on Mon, 11 Jan 2027: +15 to +25 °C, at 30 °C."
    set_up(page, locale="en-US", unit="f")
    assert page.evaluate(SAID, [sentence]) == "Ship on Mon, Jan 11, 2027: 59 to 77 °F, at 86 °F."


def test_what_the_server_says_to_programs_is_said_in_the_words_of_the_page(page: Page) -> None:
    """Fields by their labels on the page; what is nobody's word here is left as it is."""
    said = {
        "departed_at: is after arrived_at and opened_at": "“Left on”: is after “Delivered” and “Opened”",
        "expected a number, or null": "expected a number, or nothing",
        "a number, or null, or text": "a number, or null, or text",
        AMBIGUOUS_DATE: (
            "may be read day first or month first: write the date YYYY-MM-DD, or say whether the day or the month "
            "stands first"
        ),
        "the box departed at noon": "the box departed at noon",
    }
    for message, words in said.items():
        assert page.evaluate(IN_PAGE_WORDS, [message]) == words, message
