"""Counts that always add up, a box planned once, and temperatures as the reader wants them."""

import re

import pytest
from playwright.sync_api import Page, Route, expect

from tests.page.batch import fill_batch, lead
from tests.page.boxes import on_its_way, read
from tests.page.conftest import Ledger, Watch

TAPS = """async ([path, name, states, total]) => {
    const { [name]: set } = await import(path);
    const names = total ? ["sent", ...states] : states;
    let seed = 7;
    const random = (n) => (seed = (seed * 48271) % 2147483647) % n; // Lehmer, Park and Miller 1988
    let counts = Object.fromEntries(states.map((state, i) => [state, i ? 0 : 20]));
    if (total) counts.sent = 20;
    const wrong = [];
    for (let i = 0; i < 5000; i += 1) {
        const which = names[random(names.length)];
        const wanted = random(4) ? counts[which] + (random(2) ? 1 : -1) : random(30);
        const before = counts.sent ?? 20;
        counts = set(counts, which, wanted);
        const sum = states.reduce((all, state) => all + counts[state], 0);
        const should = total ? counts.sent : 20;
        const reached = which === "sent" ? Math.max(wanted, 0) : Math.min(Math.max(wanted, 0), before);
        if (sum !== should || counts[which] !== reached || states.some((state) => counts[state] < 0))
            wrong.push({ which, wanted, counts });
    }
    return wrong;
}"""


@pytest.mark.parametrize(
    ("path", "name", "states", "total"),
    [
        ("/page/counts.js", "withCount", ["healthy", "damaged", "dead"], True),
        ("/page/boxes/recheck.js", "withRecheck", ["healthy", "damaged", "dead", "gone"], False),
    ],
)
def test_counts_add_up_whatever_is_tapped(page: Page, path: str, name: str, states: list[str], total: bool) -> None:
    assert page.evaluate(TAPS, [path, name, states, total]) == []


def test_short_box_takes_from_the_healthy_first(page: Page) -> None:
    short = page.evaluate(
        """async () => (await import("/page/counts.js")).withCount(
            { sent: 20, healthy: 3, damaged: 7, dead: 10 }, "sent", 15)"""
    )
    assert short == {"sent": 15, "healthy": 0, "damaged": 5, "dead": 10}


def test_a_plan_whose_answer_is_lost_is_one_box(fresh_without_worker: tuple[Page, Watch]) -> None:
    page, watch = fresh_without_worker
    watch.allow("Service Worker registration blocked")
    watch.allow("net::ERR_FAILED")
    fill_batch(page)
    lead(page)
    page.goto("/#boxes/plan/0")

    def lose(route: Route) -> None:
        route.fetch()
        route.abort()

    page.route("**/v1/shipments", lose)
    page.get_by_role("button", name="Plan it").click()
    expect(page.get_by_role("alert")).to_contain_text("cannot be reached")
    page.unroute("**/v1/shipments")
    page.get_by_role("button", name="Plan it").click()
    expect(page.get_by_role("heading", name="Journey")).to_be_visible()
    page.goto("/#boxes")
    expect(page.locator("article.box")).to_have_count(1)


def test_fahrenheit_is_typed_and_said(boxes: tuple[Page, Watch], ledger: Ledger) -> None:
    page = boxes[0]
    page.get_by_role("button", name="Settings").click()
    page.get_by_label("Temperatures in").select_option("°F")
    currency = page.get_by_label("Currency")
    currency.fill("dollars")  # of many countries, and not the code DOL
    page.get_by_role("button", name="Keep").click()
    expect(currency).to_have_accessible_description(re.compile("Write the three letters of one currency"))
    currency.fill("£")
    page.get_by_role("button", name="Keep").click()
    assert page.evaluate("JSON.parse(localStorage.getItem('transit.settings')).currency") == "GBP"
    box = on_its_way(ledger.address, "Warm")
    page.goto(f"/#boxes/{box['id']}/arrival")
    page.get_by_text("A logger was in the box").click()
    page.get_by_label("Mean inside").fill("68")
    page.get_by_label("Lowest inside").fill("50")
    page.get_by_label("Highest inside").fill("86")
    record = page.get_by_role("button", name="Record these counts")
    delivered = page.get_by_label("Delivered", exact=True)
    now = delivered.input_value()
    dead = page.get_by_role("group", name="Aglaonema").get_by_label("Dead", exact=True)
    for typed in ("-1", "99", "1.5"):
        dead.fill(typed)
        dead.blur()
        expect(dead).to_have_value("0")
        expect(dead).to_have_accessible_description(re.compile(f"“{typed}” is no whole number from 0 to 20: left at 0"))
    record.click()
    expect(page.get_by_text("“1.5” could not be read as a count")).to_be_visible()
    delivered.fill("2028-01-16T10:00")
    record.click()
    expect(delivered).to_have_accessible_description(re.compile("must not lie in the future", re.IGNORECASE))
    delivered.fill(now)
    record.click()
    # Nobody touched a count: asked once, and nothing is sent before the answer.
    expect(page.get_by_text("No count was changed. Were all 30 plants there, and healthy?")).to_be_visible()
    assert read(ledger.address, box["id"])["arrival"] is None
    record.click()
    expect(page.get_by_text(re.compile(r"Inside 68\.0 °F on average, 50 to 86 °F"))).to_be_visible()
    # 68 °F is 20 °C, 50 is 10, 86 is 30.
    arrival = read(ledger.address, box["id"])["arrival"]
    inside = [arrival[f"inside_{name}_c"] for name in ("temp", "min", "max")]
    assert inside == [pytest.approx(20), pytest.approx(10), pytest.approx(30)]
