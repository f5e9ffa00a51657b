"""Unpacking without a connection: counts are kept, sent once, and a second count of the same box is a choice."""

import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from tests.moments import NOW
from tests.page.boxes import arrived, changed, on_its_way, read
from tests.page.conftest import Ledger, Watch

UNREACHABLE = r"net::ERR_(INTERNET_DISCONNECTED|FAILED)"
STALE = "status of 412"
DEAD = "One more, dead: Aglaonema"


@pytest.fixture
def phone_page(boxes: tuple[Page, Watch]) -> Page:
    """Return a tab that may be cut off, once its files are kept for then."""
    page, watch = boxes
    watch.allow(UNREACHABLE)
    watch.allow(STALE)
    page.evaluate("() => navigator.serviceWorker.ready")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    return page


def writes_of_arrivals(database: Path, reference: str) -> int:
    """Return how often an arrival of a box was written, by the history of changes."""
    with closing(sqlite3.connect(database)) as connection:
        (n_writes,) = connection.execute(
            "SELECT count(*) FROM shipment_history JOIN shipments ON shipment_history.shipment = shipments.number"
            " WHERE shipment_history.reason = 'arrival' AND shipments.reference = ?",
            (reference,),
        ).fetchone()
    return int(n_writes)


def open_form(page: Page, box: dict[str, Any]) -> None:
    """Read the list, so that the box is known here, and open its form."""
    page.goto("/#boxes")
    expect(page.get_by_role("link", name=box["reference"], exact=True)).to_be_visible()
    page.goto(f"/#boxes/{box['id']}/arrival")
    expect(page.get_by_role("heading", level=1)).to_have_text(f"Unpack: {box['reference']}")


def waiting(page: Page, box: dict[str, Any]) -> Locator:
    """Return what says that a box's counts wait here."""
    return page.get_by_text(f"Kept on this device, not yet sent: {box['reference']}")


def test_counts_made_offline_outlive_a_reload_and_arrive_once(
    phone_page: Page,
    ledger: Ledger,
    axe_clean: Callable[[Page], None],
    shot: Callable[[Page, str], None],
) -> None:
    page, box = phone_page, on_its_way(ledger.address, "Reloaded")
    open_form(page, box)
    page.context.set_offline(True)
    page.get_by_role("button", name=DEAD).click()
    page.get_by_role("button", name=DEAD).click()
    page.reload()
    # The page opens from what was kept, and the taps are there.
    expect(page.locator(".sum")).to_have_text("28 healthy, 0 damaged, 2 dead of 30")
    page.get_by_role("button", name="One more, damaged: Hoya").click()
    page.get_by_role("button", name="Record these counts").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Boxes")
    expect(waiting(page, box)).to_be_visible()
    axe_clean(page)
    shot(page, "offline")
    page.reload()
    expect(waiting(page, box)).to_be_visible()
    assert read(ledger.address, box["id"])["arrival"] is None
    page.context.set_offline(False)
    expect(waiting(page, box)).to_be_hidden()
    lines = read(ledger.address, box["id"])["arrival"]["lines"]
    assert [(line["healthy"], line["damaged"], line["dead"]) for line in lines] == [(18, 0, 2), (9, 1, 0)]
    page.reload()
    expect(page.get_by_role("heading", level=1)).to_have_text("Boxes")
    assert writes_of_arrivals(ledger.database, box["reference"]) == 1


def test_an_answer_lost_after_it_was_stored_does_not_count_twice(phone_page: Page, ledger: Ledger) -> None:
    page, box = phone_page, on_its_way(ledger.address, "Lost answer")
    open_form(page, box)

    def lose(route: Route) -> None:
        route.fetch()  # stored by the server
        route.abort()

    page.route("**/arrival", lose)
    page.get_by_role("button", name=DEAD).click()
    page.get_by_role("button", name="Record these counts").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Boxes")
    expect(waiting(page, box)).to_be_visible()
    stored = read(ledger.address, box["id"])
    assert stored["arrival"]["lines"][0]["dead"] == 1
    page.unroute("**/arrival")
    page.get_by_role("button", name="Send now").click()
    expect(page.locator("#waiting")).to_be_hidden()  # neither waiting nor a conflict
    assert read(ledger.address, box["id"])["etag"] == stored["etag"]
    assert writes_of_arrivals(ledger.database, box["reference"]) == 1


def test_news_of_the_journey_in_between_are_no_conflict(phone_page: Page, ledger: Ledger) -> None:
    page, box = phone_page, on_its_way(ledger.address, "News")
    open_form(page, box)
    changed(ledger.address, box, "PATCH", "", {"events": [{"at": box["departed_at"], "kind": "held", "note": ""}]})
    page.get_by_role("button", name=DEAD).click()
    page.get_by_role("button", name="Record these counts").click()
    expect(page.get_by_role("heading", name="What arrived")).to_be_visible()
    stored = read(ledger.address, box["id"])
    assert stored["arrival"]["lines"][0]["dead"] == 1
    assert [event["kind"] for event in stored["events"]] == ["held"]


@pytest.mark.parametrize(("choice", "dead"), [("Keep mine", 1), ("Keep the stored ones", 5)])
def test_two_counts_of_a_box_are_a_choice(
    phone_page: Page,
    ledger: Ledger,
    axe_clean: Callable[[Page], None],
    shot: Callable[[Page, str], None],
    choice: str,
    dead: int,
) -> None:
    page, box = phone_page, on_its_way(ledger.address, f"Twice {dead}")
    open_form(page, box)
    theirs = [{"line": 0, "healthy": 15, "damaged": 0, "dead": 5}, {"line": 1, "healthy": 10, "damaged": 0, "dead": 0}]
    changed(ledger.address, box, "PUT", "/arrival", {"arrived_at": NOW.isoformat(), "lines": theirs})
    page.get_by_role("button", name=DEAD).click()
    page.get_by_role("button", name="Record these counts").click()
    expect(page.get_by_role("heading", level=1)).to_have_text(f"Counted twice: {box['reference']}")
    mine = page.get_by_role("region", name="Yours, on this device").get_by_role("row", name=re.compile("Aglaonema"))
    stored = page.get_by_role("region", name="Stored", exact=True).get_by_role("row", name=re.compile("Aglaonema"))
    expect(mine.get_by_role("cell")).to_have_text(["20", "19", "0", "1"])
    expect(stored.get_by_role("cell")).to_have_text(["20", "15", "0", "5"])
    if choice == "Keep mine":
        axe_clean(page)
        shot(page, "conflict")
    page.get_by_role("button", name=choice).click()
    expect(page.get_by_role("heading", name="What arrived")).to_be_visible()
    assert read(ledger.address, box["id"])["arrival"]["lines"][0]["dead"] == dead
    expect(page.locator("#waiting")).to_be_hidden()


def test_a_refusal_stands_at_its_field_and_nothing_is_lost(boxes: tuple[Page, Watch], ledger: Ledger) -> None:
    page, watch = boxes
    watch.allow("status of 422")
    box = on_its_way(ledger.address, "Refused")
    open_form(page, box)
    page.get_by_role("button", name=DEAD).click()
    page.get_by_label("Opened", exact=True).fill("2020-01-01T10:00")
    page.get_by_role("button", name="Record these counts").click()
    expect(page.get_by_label("Opened", exact=True)).to_have_attribute("aria-invalid", "true")
    page.reload()
    expect(page.get_by_label("Opened", exact=True)).to_have_attribute("aria-invalid", "true")
    expect(page.locator(".sum")).to_have_text("29 healthy, 0 damaged, 1 dead of 30")
    page.get_by_label("Opened", exact=True).fill("")
    page.get_by_role("button", name="Record these counts").click()
    expect(page.get_by_role("heading", name="What arrived")).to_be_visible()


def test_counting_again_works_offline_too(phone_page: Page, ledger: Ledger) -> None:
    page, box = phone_page, arrived(ledger.address, "Recheck", [(20, 18, 2, 0), (10, 10, 0, 0)], days=14)
    page.goto("/#boxes")
    reminder = page.get_by_role("region", name="To do").get_by_role("link", name="Recheck", exact=True)
    expect(reminder).to_be_visible()
    page.context.set_offline(True)
    reminder.click()
    page.get_by_role("button", name="One more, sold or given away: Hoya").click()
    page.get_by_role("button", name="Record the recheck").click()
    expect(waiting(page, box)).to_be_visible()
    page.context.set_offline(False)
    expect(waiting(page, box)).to_be_hidden()
    counts = {"healthy": 9, "damaged": 0, "dead": 0, "gone": 1}
    assert read(ledger.address, box["id"])["recheck"]["lines"][1] == {"line": 1, **counts}
