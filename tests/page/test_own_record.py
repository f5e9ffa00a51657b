"""What the rules of thumb say and what the own record says, told apart."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from app.store.database import Database
from app.store.model_versions import StoredVersion, add_version
from tests.app.fits import FITTED_AT, fill, fitted
from tests.app.servers import running_server
from tests.page.batch import fill_batch, height, lead, seven_lines
from tests.page.conftest import DESK, PHONE, opened


@pytest.fixture
def fitted_page(browser: Browser, tmp_path: Path) -> Iterator[Page]:
    """Yield a tab on a server whose model is fitted to 15 invented boxes."""
    file = tmp_path / "ledger.db"
    model, arrays = fitted()
    with Database(f"sqlite:///{file}") as database:
        fill(database)
        with database.writing() as connection:
            stored = StoredVersion("fit-test", model.manifest.model_dump_json(), 1, True, FITTED_AT)
            add_version(connection, stored, arrays)
    with running_server(f"sqlite:///{file}") as address:
        for tab, _ in opened(browser, address, DESK):
            yield tab


def test_own_record_and_rules_of_thumb_side_by_side(
    fitted_page: Page, axe_clean: Callable[[Page], None], shot: Callable[[Page, str], None]
) -> None:
    fill_batch(fitted_page)
    lead(fitted_page)
    rests = fitted_page.get_by_role("region", name="What this rests on")
    expect(rests.get_by_text("Rules of thumb and your own record together.")).to_be_visible()
    for name in ("courier, with your record", "courier, rules of thumb alone"):
        expect(rests.get_by_role("row", name=name)).to_contain_text(re.compile(r"\d+ \(\d+ to \d+\)"))
    expect(rests.get_by_role("img", name=re.compile("by the rules of thumb alone"))).to_be_visible()
    # The invented ledger holds 8 boxes with Hoya and 4 with Aglaonema; both shares of a line add up to the whole.
    row = rests.get_by_role("row", name=re.compile("^Hoya"))
    expect(row).to_be_visible()
    cells = row.get_by_role("cell").all_inner_texts()
    boxes, _plants, own, rules = (int(re.sub(r"\D", "", cell)) for cell in cells)
    assert boxes == 8
    assert own + rules == pytest.approx(100, abs=1)
    # Beside fewer than five boxes a share would look surer than it is.
    few = rests.get_by_role("row", name=re.compile("^Aglaonema")).get_by_role("cell")
    expect(few).to_have_text(["4", re.compile(r"\d"), "too few boxes of it to say", "–"])
    axe_clean(fitted_page)
    shot(fitted_page, "own_record_1280")
    # On a phone it is folded, and seven lines are within reach as by the rules of thumb alone.
    fitted_page.set_viewport_size({"width": PHONE["width"], "height": PHONE["height"]})
    fitted_page.reload()
    seven_lines(fitted_page)
    assert height(fitted_page) < 4000
    fitted_page.get_by_text("What this rests on").click()
    expect(rests.get_by_role("row", name=re.compile("^Hoya"))).to_be_visible()
    assert rests.locator(".scroll").evaluate("scroll => scroll.scrollWidth <= scroll.clientWidth")
    axe_clean(fitted_page)
    shot(fitted_page, "own_record_390")
