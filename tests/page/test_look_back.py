"""Looking back: a file taken in and given out, learning from it, what changed, another version again."""

import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.app.fits import likely_ledger
from tests.app.ledger_files import csv_text, row
from tests.app.servers import running_server
from tests.page.boxes import arrived
from tests.page.conftest import DESK, Watch, opened
from tests.page.plots import drawn, numbers, reading

VERSION = re.compile(r"Before: rules of thumb only\. Now: \d+ boxes, [\d,]+ plants\.")
HASH = re.compile(r"(fit|rules)-[0-9a-f]{6}|\bnats\b|[a-z]_[a-z]")
MINUTE_MS = 60_000
N_BOXES = 24


@pytest.fixture
def learner(browser: Browser, tmp_path: Path) -> Iterator[Page]:
    """Yield a tab on a server of its own that learns fast and roughly."""
    with running_server(f"sqlite:///{tmp_path / 'ledger.db'}", TRANSIT_REFIT_DRAWS="1024") as address:
        for page, _ in opened(browser, address, DESK):
            yield page


def address_of(page: Page) -> str:
    """Return where the server of a tab is."""
    return str(page.evaluate("location.origin"))


def share(cell: str) -> float:
    """Return "15 of 20" in percent."""
    counted, of = numbers(cell)
    return 100 * counted / of


def csv_file(content: bytes) -> Any:
    """Return a file as the browser is handed it."""
    return {"name": "boxes.csv", "mimeType": "text/csv", "buffer": content}


def test_bad_cells_stand_in_a_table(boxes: tuple[Page, Watch], axe_clean: Callable[[Page], None]) -> None:
    page, watch = boxes
    watch.allow("status of 422")
    page.goto("/#look-back")
    text = csv_text([row(), row(shipment="A-2", healthy="16"), row(shipment="A-3", ship_date="yesterday")])
    page.get_by_label("File of arrived boxes").set_input_files(csv_file(text.encode()))
    page.get_by_role("button", name="Take in").click()
    table = page.get_by_role("region", name="Table: cells to mend")
    # 16 + 3 + 2 is not 20: a sum that fails is told at dead; the header is row 1.
    expect(table.get_by_role("row", name=re.compile("^3 dead"))).to_be_visible()
    expect(table.get_by_role("row", name=re.compile("^4 ship_date"))).to_be_visible()
    axe_clean(page)


def test_a_file_in_the_letters_of_a_spreadsheet_is_not_garbled(boxes: tuple[Page, Watch]) -> None:
    page, _ = boxes
    page.goto("/#look-back")
    content = csv_text([row(shipment="L-1", seller="Jardín Ficticio")]).encode("cp1252")
    page.get_by_label("File of arrived boxes").set_input_files(csv_file(content))
    page.get_by_role("button", name="Take in").click()
    expect(page.get_by_text("1 box added, 0 unchanged, 0 replaced; 1 line.")).to_be_visible()
    page.reload()
    sellers = page.get_by_role("region", name="Whose plants keep")
    sellers.get_by_text("The same as a table").click()
    expect(sellers.get_by_role("rowheader", name="Jardín Ficticio")).to_be_visible()


def without_statistics_on_a_phone(page: Page) -> Locator:
    """Return the table of versions, which a phone has room for; no statistics stand outside the folds."""
    assert "log score" not in page.locator("main").inner_text()
    page.set_viewport_size({"width": 390, "height": 844})
    within = "scroll => scroll.scrollWidth <= scroll.clientWidth"
    table = page.get_by_role("region", name="Table: versions of the model")
    assert table.evaluate(within)
    return table


def test_learning_from_a_file_shows_what_changed_and_can_be_undone(
    learner: Page, axe_clean: Callable[[Page], None], shot: Callable[[Page, str], None]
) -> None:
    page = learner
    page.goto("/#look-back")
    page.get_by_label("File of arrived boxes").set_input_files(csv_file(likely_ledger(N_BOXES, 1)))
    page.get_by_role("button", name="Take in").click()
    expect(page.get_by_text(f"{N_BOXES} boxes added, 0 unchanged, 0 replaced; {N_BOXES} lines.")).to_be_visible()
    with page.expect_download() as offered:
        page.get_by_role("button", name="Give out all arrived boxes").click()
    assert offered.value.path().read_text().count("\n") == N_BOXES + 1  # the lines and the header

    page.get_by_role("button", name="Learn from the boxes").click()
    expect(page.get_by_role("progressbar")).to_be_visible()
    page.reload()  # the page may be left
    expect(page.locator(".notice", has_text="The new version answers from now on.")).to_be_visible(timeout=MINUTE_MS)
    expect(page.get_by_text(VERSION)).to_be_visible()
    changes = page.get_by_role("region", name="Table: what changed")
    expect(
        changes.get_by_role("row", name=re.compile(f"^seller Invented Ferns .* {N_BOXES} boxes, {20 * N_BOXES} plants"))
    ).to_be_visible()

    # In a buyer's words: no version, no code, no unit of statistics outside the folds.
    expect(page.get_by_role("region", name="What to do").get_by_text("Invented Ferns")).to_be_visible()
    assert not HASH.search(page.locator("main").inner_text())
    told_of_itself(page)

    genera = page.get_by_role("region", name="Which plants keep")
    genera.get_by_text("The same as a table").click()
    medians = [float(cell.split("×")[0]) for cell in genera.locator("tbody td:nth-child(2)").all_inner_texts()]
    assert len(medians) == 2
    assert medians == sorted(medians, reverse=True)
    plot = genera.get_by_role("img", name=re.compile("^Time ratios of 2 genera"))
    expect(plot.locator(".dot").first).to_be_visible()
    expect(plot).to_have_accessible_description(re.compile("^Filled circles rest on 5 boxes or more"))
    shown = drawn(plot)
    assert "1" in dict(shown.ticks_x)
    ratio = reading(shown.ticks_x, math.log, math.exp)
    assert ratio(0) < ratio(100)
    assert [ratio(x) for x, _ in shown.dots] == pytest.approx(medians, abs=0.01)
    ends = [numbers(cell) for cell in genera.locator("tbody td:nth-child(3)").all_inner_texts()]
    assert [[ratio(left), ratio(right)] for left, _, right, _ in shown.spans] == [
        pytest.approx(pair, abs=0.01) for pair in ends
    ]
    names = genera.locator("tbody th").all_inner_texts()
    assert [text.removesuffix(" (thin)") for text, _ in shown.ticks_y] == names
    assert [y for _, y in shown.dots] == pytest.approx([place for _, place in shown.ticks_y], abs=0.1)
    n_thin = sum(cell.startswith("thin") for cell in genera.locator("tbody td:nth-child(4)").all_inner_texts())
    expect(plot.locator(".dot.open")).to_have_count(n_thin)
    axe_clean(page)
    shot(page, "look-back")

    versions = page.get_by_role("group", name="Versions of the model")
    versions.get_by_text("Versions of the model").click()
    without_statistics_on_a_phone(page).get_by_role("button", name=re.compile("^Let rules-")).click()
    expect(versions.get_by_role("row", name=re.compile("^rules-"))).to_contain_text("answers now")
    nothing_learned(page)
    axe_clean(page)
    shot(page, "gone-back")
    take_the_newest(page)


def told_of_itself(page: Page) -> None:
    """Look at what the model says of itself: words first, with the numbers folded."""
    rests = page.get_by_role("region", name="What the answers rest on")
    expect(rests.get_by_text("Each box foreseen from the others")).to_be_visible()
    expect(rests.get_by_role("table")).to_have_count(0)
    rests.get_by_text("The numbers behind this").click()
    expect(rests.get_by_role("row", name=re.compile(f"^All {N_BOXES} boxes"))).to_be_visible()
    expect(rests.get_by_role("row", name=re.compile("^boxes from Invented Ferns"))).to_be_visible()


def nothing_learned(page: Page) -> None:
    """Look at what the rules of thumb show of own boxes."""
    genera = page.get_by_role("region", name="Which plants keep")
    expect(genera.get_by_text("No own box yet")).to_be_visible()
    rests = page.get_by_role("region", name="What the answers rest on")
    expect(rests.get_by_text("Nothing is learned from boxes of your own yet.")).to_be_visible()
    sellers = page.get_by_role("region", name="Whose plants keep")
    sellers.get_by_text("The same as a table").click()
    waiting = f"{N_BOXES} boxes on record, none of them learned from yet"
    expect(sellers.get_by_role("cell", name=waiting).first).to_be_visible()


def take_the_newest(page: Page) -> None:
    """End the going back that the page tells of."""
    held = page.get_by_text(re.compile("^You went back to the rules of thumb on .* 1 newer version waits"))
    expect(held).to_be_visible()
    page.get_by_role("button", name="Take the newest").click()
    expect(held).to_have_count(0)
    versions = page.get_by_role("group", name="Versions of the model")
    expect(versions.get_by_role("row", name=re.compile("^fit-"))).to_contain_text("answers now")


def test_track_record_is_drawn_and_tabled(
    learner: Page, axe_clean: Callable[[Page], None], shot: Callable[[Page, str], None]
) -> None:
    for reference in ("One", "Two"):  # opened within a day from now: forecast before they arrived
        arrived(address_of(learner), reference, [(20, 20, 0, 0), (10, 10, 0, 0)], days=-0.9)
    learner.goto("/#look-back")
    record = learner.get_by_role("region", name="Were the forecasts right?")
    expect(record.get_by_role("heading", name="Too early to say")).to_be_visible()
    expect(record.get_by_text("and 60 were: too few boxes to judge")).to_be_visible()
    record = learner.get_by_role("group", name="Statistics of the forecasts")
    record.get_by_text("Statistics of the forecasts").click()
    plot = record.get_by_role("img", name=re.compile("2 boxes with 60 plants"))
    expect(plot.locator(".dot").first).to_be_visible()
    record.get_by_text("The same as a table").click()
    rows = [cells.split("\t") for cells in record.locator("figure tbody tr").all_inner_texts()]
    healthy = [row for row in rows if row[0] == "healthy"]
    # All 2 x 30 plants were healthy, whatever was forecast.
    assert sum(int(row[4]) for row in healthy) == 60
    # Two boxes: what was counted, no share that would look sure.
    assert {row[2] for row in healthy} == {f"{row[4]} of {row[4]}" for row in healthy}
    shown = drawn(plot)
    given, found = reading(shown.ticks_x), reading(shown.ticks_y)
    assert given(0) < given(100)
    assert found(0) > found(100)
    # The table is rounded to whole percents.
    assert [given(x) for x, _ in shown.dots] == pytest.approx([numbers(row[1])[0] for row in rows], abs=0.6)
    assert [found(y) for _, y in shown.dots] == pytest.approx([share(row[2]) for row in rows], abs=0.6)
    assert [[found(bottom), found(top)] for _, top, _, bottom in shown.spans] == [
        pytest.approx(numbers(row[3]), abs=0.6) for row in rows
    ]
    expect(plot.locator("circle.dot")).to_have_count(len(healthy))
    expect(plot.locator("rect.dot")).to_have_count(len(rows) - len(healthy))
    record.get_by_text("Ranges and scores").click()
    expect(record.get_by_role("table", name="Scores, lower is better")).to_be_visible()
    axe_clean(learner)
    shot(learner, "track-record")


def test_track_record_says_that_there_is_none_yet(phone: Page) -> None:
    phone.goto("/#look-back")
    expect(phone.get_by_text("nothing can be said of the forecasts")).to_be_visible()
