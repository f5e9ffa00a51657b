"""The claim sheet: opened with a key, printed on one sheet of paper, and its message to copy."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import httpx
import pytest
from playwright.sync_api import Browser, Page, expect

from app.cli.key_commands import make_key
from app.settings import Settings
from tests.app.servers import running_server
from tests.page.boxes import BATCH, arrived
from tests.page.conftest import DESK, Ledger, Watch, opened

COUNTS = [(18, 14, 2, 2), (10, 7, 0, 3)]
# Points of 1/72 inch: ISO 216 A4 is 210 x 297 mm, US Letter 8.5 x 11 inches.
PAPERS = {"A4": (595, 842), "Letter": (612, 792)}


@pytest.fixture
def keyed(browser: Browser, tmp_path: Path) -> Iterator[tuple[Page, str]]:
    """Yield a tab on a server that asks for keys, and a key."""
    database = tmp_path / "ledger.db"
    key = make_key(Settings(database_url=f"sqlite:///{database}"), "page", "write").split("\n")[0]
    with running_server(f"sqlite:///{database}") as address:
        for page, watch in opened(browser, address, DESK):
            watch.allow("status of 401")
            yield page, key


def n_pages(pdf: bytes) -> int:
    """Return how many pages a PDF has."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


@pytest.mark.parametrize("paper", PAPERS)
def test_it_prints_on_one_sheet_of_paper(boxes: tuple[Page, Watch], ledger: Ledger, paper: str) -> None:
    page = boxes[0]
    genera = ("Aglaonema", "Hoya", "Begonia", "Calathea", "Peperomia", "Philodendron", "Monstera", "Alocasia")
    lines = [{"genus": genus, "quantity": 10, "unit_cost": 5, "sale_value": 20} for genus in genera]
    box = arrived(ledger.address, f"Printed on {paper}", [(9, 5, 1, 3)] * len(genera), lines=lines)
    page.goto(f"/#boxes/{box['id']}/claim")
    expect(page.get_by_role("heading", level=1)).to_contain_text(box["reference"])
    pdf = page.pdf(format=paper)
    width, height = map(float, re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", pdf)[0])
    assert (width, height) == pytest.approx(PAPERS[paper], abs=2)
    assert n_pages(pdf) == 1
    # Nothing of the page around it is printed.
    page.emulate_media(media="print")
    for around in (page.get_by_role("navigation"), page.get_by_role("button", name="Print"), page.locator(".foot")):
        expect(around).to_be_hidden()
    page.emulate_media(media="screen")
    page.goto("/#boxes")
    page.emulate_media(media="print")
    expect(page.get_by_role("navigation")).to_be_visible()


def test_a_key_opens_it(keyed: tuple[Page, str], axe_clean: Callable[[Page], None]) -> None:
    page, key = keyed
    address = page.evaluate("location.origin")
    bearer = {"Authorization": f"Bearer {key}"}
    box = httpx.post(f"{address}/v1/shipments", json=BATCH | {"ship_date": "2027-01-11"}, headers=bearer, timeout=30)
    lines = [{"line": 0, "healthy": 18, "damaged": 0, "dead": 2}, {"line": 1, "healthy": 10, "damaged": 0, "dead": 0}]
    path = box.headers["location"]
    arrival = {"arrived_at": "2027-01-16T09:00:00Z", "lines": lines}
    httpx.put(f"{address}{path}/arrival", json=arrival, headers=bearer | {"If-Match": box.headers["etag"]})
    page.goto(f"/#boxes/{box.json()['id']}/claim")
    # The view before has a heading and an alert too, until this one takes its place.
    expect(page.get_by_role("heading", level=1, name="Boxes")).to_be_visible()
    expect(page.get_by_role("alert")).to_be_visible()
    axe_clean(page)
    page.get_by_role("button", name="Enter a key").click()
    page.get_by_label("Key", exact=True).fill(key)
    page.get_by_role("button", name="Keep").click()
    # 2 dead x 8.00
    expect(page.locator(".sheet tfoot")).to_contain_text("16.00")


def test_the_message_can_be_copied(boxes: tuple[Page, Watch], ledger: Ledger) -> None:
    page = boxes[0]
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    box = arrived(ledger.address, "Copied", COUNTS)
    page.goto(f"/#boxes/{box['id']}/claim")
    page.get_by_role("button", name="Copy the message").click()
    expect(page.locator("#said")).to_have_text("Copied.")
    assert "Aglaonema: 2 dead of 18" in page.evaluate("navigator.clipboard.readText()")
