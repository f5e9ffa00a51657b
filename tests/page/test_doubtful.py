"""Records that look wrong: in Look back, after taking a file in, and at the box, until they are confirmed."""

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.app.ledger_files import csv_text, row
from tests.page.boxes import arrived, changed, on_its_way
from tests.page.conftest import Ledger, Watch
from tests.page.test_look_back import csv_file


def test_a_row_in_fahrenheit_is_told_and_confirmed(
    fresh_page: Page, axe_clean: Callable[[Page], None], shot: Callable[[Page, str], None]
) -> None:
    page = fresh_page
    page.goto("/#look-back")
    records = page.get_by_role("region", name="Records that look wrong")
    expect(records.get_by_text("No record of the ledger looks wrong.")).to_be_visible()
    dates = {"ship_date": "2026-01-12", "arrival_date": "2026-01-17"}
    rows = [
        row(shipment="Right", **dates),
        row(shipment="Warm", inside_temp_c="55", healthy="16", damaged="2", **dates),
    ]
    page.get_by_label("File of arrived boxes").set_input_files(csv_file(csv_text(rows).encode()))
    page.get_by_role("button", name="Take in").click()
    table = page.get_by_role("region", name="Table: rows that look wrong")
    # The header is row 1; 55 °F is 12.8 °C.
    expect(table.get_by_role("row", name=re.compile("^3 Warm inside_temp_c .* 12.8 °C"))).to_be_visible()
    expect(records.get_by_role("link", name="Warm")).to_be_visible()
    axe_clean(page)
    shot(page, "doubtful")
    records.get_by_role("button", name="The record of Warm is right").click()
    expect(records.get_by_text("No record of the ledger looks wrong.")).to_be_visible()
    page.reload()
    expect(records.get_by_text("No record of the ledger looks wrong.")).to_be_visible()


def test_a_box_asks_whether_its_record_is_right(
    boxes: tuple[Page, Watch], ledger: Ledger, axe_clean: Callable[[Page], None]
) -> None:
    page, _ = boxes
    box = arrived(ledger.address, "Hot on the way", [(20, 16, 2, 2), (10, 9, 0, 1)], days=3)
    page.goto(f"/#boxes/{box['id']}")
    expect(page.get_by_role("heading", name="What arrived")).to_be_visible()
    expect(page.get_by_role("heading", name="Is this right?")).to_have_count(0)
    counts = [(18, 1, 1), (9, 1, 0)]
    lines = [{"line": i, "healthy": h, "damaged": m, "dead": d} for i, (h, m, d) in enumerate(counts)]
    hot = on_its_way(ledger.address, "Logged hot", days=8)
    arrival = {"arrived_at": box["arrival"]["arrived_at"], "lines": lines, "inside_temp_c": 59.0}
    hot = changed(ledger.address, hot, "PUT", "/arrival", arrival)
    page.goto(f"/#boxes/{hot['id']}")
    doubt = page.get_by_role("region", name="Is this right?")
    expect(doubt).to_contain_text("15.0 °C: the logger may write °F")
    expect(doubt.get_by_role("link", name="Correct it")).to_be_visible()
    axe_clean(page)
    doubt.get_by_role("button", name="The record is right").click()
    expect(doubt).to_have_count(0)
    expect(page.get_by_role("heading", level=1)).to_be_focused()


def test_a_long_list_of_doubts_is_folded_after_the_first_few(page: Page) -> None:
    n_shown, folded = page.evaluate(
        """async () => {
            const { doubtList } = await import("/page/doubtful.js");
            const doubt = (n) => ({ id: `s${n}`, shipment: `Box ${n}`, column: "sent", text: "?" });
            const doubts = [1, 2, 3, 4, 5, 6].map(doubt);
            const list = doubtList(doubts, new AbortController().signal, () => {});
            const [fold] = list.querySelectorAll("details");
            return [list.querySelectorAll(":scope > ul > li").length, [fold.open, fold.innerText || fold.textContent]];
        }"""
    )
    assert n_shown == 4
    assert folded[0] is False
    assert folded[1].startswith("2 boxes more")
