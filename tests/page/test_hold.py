"""Holding in the page: days, their weather, blocked days with the reason, forecasts."""

import re
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Browser, Locator, Page, expect

from tests.app.servers import running_server
from tests.app.weather_service import DAYS, serving
from tests.page.batch import fill_batch, lead
from tests.page.conftest import DESK, Watch, opened


def open_hold(page: Page) -> None:
    """Fill in the batch and ask about a week in January; 10 January 2028 is a Monday."""
    page.goto("/#hold")
    # The days first: nothing is asked before the batch is there, so never about one day typed and one not yet.
    page.get_by_label("Earliest").fill("2028-01-10")
    page.get_by_label("Latest").fill("2028-01-16")
    fill_batch(page)


def weather(page: Page) -> Locator:
    """Return the rows of the courier's table of ranges and weather, opened."""
    courier = page.get_by_role("region", name="courier", exact=True)
    return courier.get_by_role("region", name="ranges and weather").get_by_role("row")


def test_days_weather_and_recommendation(page: Page, axe_clean: Callable[[Page], None]) -> None:
    open_hold(page)
    # The 10th is a Monday; a box closed on Friday to Sunday lies over the weekend.
    assert re.match(r"Monday to Thursday are equal: ship on Mon,? 10 Jan by .*; avoid Friday to Sunday", lead(page))
    courier = page.get_by_role("region", name="courier", exact=True)
    days = courier.get_by_role("table").first.get_by_role("row")
    expect(days).to_have_count(8)
    expect(days.nth(1)).to_contain_text("first: ")
    expect(days.nth(2).locator(".bar")).to_have_count(2)
    # Less on Saturday than on Thursday, and drawn so.
    widths = [days.nth(i).locator(".bar .less").first.evaluate("bar => bar.width.baseVal.value") for i in (5, 6)]
    assert widths[0] < widths[1]
    expect(days.nth(6)).to_contain_text(re.compile("−€\\d+"))
    courier.get_by_text("Ranges and weather").click()
    # Monthly normals of Semarang in the middle of January: 24.3 and 30.0 °C.
    expect(weather(page).nth(5)).to_contain_text(re.compile(r"Fri,? 14 Jan.*24 to 30 °C"))
    axe_clean(page)


def test_each_day_can_be_planned(page: Page) -> None:
    open_hold(page)
    lead(page)
    courier = page.get_by_role("region", name="courier", exact=True)
    expect(courier.get_by_role("link", name="Plan this date")).to_have_count(7)
    courier.get_by_role("link", name=re.compile("Plan this date: Wed,? 12 Jan by courier")).click()
    expect(page.get_by_role("heading", name="Plan this box")).to_be_visible()
    expect(page.get_by_text(re.compile("to leave Wed,? 12 Jan 2028"))).to_be_visible()


def test_blocked_days_say_why(page: Page) -> None:
    open_hold(page)
    lead(page)
    page.get_by_text("Papers with an age").click()
    page.get_by_role("checkbox", name="Sat").check()
    page.get_by_label("Certificate issued").fill("2028-01-09")
    page.get_by_label("Valid for").first.fill("4")
    courier = page.get_by_role("region", name="courier", exact=True)
    # Valid from the 9th for 4 days covers the 13th and no more.
    rows = courier.get_by_role("table").first.get_by_role("row")
    expect(rows.nth(5)).to_contain_text(re.compile(r"Fri,? 14 Jan.*the certificate does not cover it"))
    expect(rows.nth(6)).to_contain_text(re.compile(r"Sat,? 15 Jan.*no departure on this weekday"))


def test_past_days_are_greyed_and_never_advised(page: Page) -> None:
    """It is Friday, 26 November 2027."""
    open_hold(page)
    lead(page)
    page.get_by_label("Earliest").fill("2027-11-24")
    page.get_by_label("Latest").fill("2027-11-27")
    expect(page.locator(".lead")).to_contain_text(re.compile(r"2[67] Nov by"))
    rows = page.get_by_role("region", name="courier", exact=True).get_by_role("table").first.get_by_role("row")
    expect(rows.nth(2)).to_have_class("blocked")
    expect(rows.nth(2)).to_contain_text(re.compile(r"25 Nov.*past"))
    expect(rows.nth(3)).to_contain_text("first: ")


def test_pasted_forecast_takes_the_place_of_normals(page: Page) -> None:
    open_hold(page)
    lead(page)
    page.locator("summary", has_text="Forecast").click()
    page.get_by_label("Forecast of").select_option("SRG")
    page.get_by_label("Rows: date, minimum, maximum").fill("date;min;max\n2028-01-14;11,5;19\n2028-01-15;30;20")
    page.get_by_role("button", name="Take these days").click()
    expect(
        page.get_by_text("1 day, 14 Jan taken for SRG. row 3: the minimum must be at most the maximum.")
    ).to_be_visible()
    lead(page)
    courier = page.get_by_role("region", name="courier", exact=True)
    courier.get_by_text("Ranges and weather").click()
    expect(weather(page).nth(5)).to_contain_text("12 to 19 °C")
    # In °F, though °C is set: one message that names the days, and the reading that is meant one press away.
    rows = page.get_by_label("Rows: date, minimum, maximum")
    rows.fill("2028-01-13;70;80\n2028-01-14;68;75\n2028-01-15;70;79")
    page.get_by_role("button", name="Take these days").click()
    expect(page.get_by_text("13 Jan, 14 Jan, 15 Jan: air is within -40 to 60 °C. Are they in °F?")).to_be_visible()
    page.get_by_role("button", name="Read them as °F").click()
    expect(page.get_by_text("3 days, 13 Jan to 15 Jan taken for SRG.")).to_be_visible()
    # Normals of Glasgow in January: 1.9 to 7.2 °C, in the middle 4.6 °C; 47.5 is 43 more.
    page.get_by_label("Forecast of").select_option("GLA")
    rows.fill("2028-01-14;40;55")
    page.get_by_role("button", name="Take these days").click()
    expect(page.get_by_text(re.compile(r"That is 43 °C warmer than is usual in Glasgow then"))).to_be_visible()
    page.get_by_role("button", name="Read them as °F").click()
    lead(page)


def test_without_a_weather_service_fetching_says_so(page: Page) -> None:
    open_hold(page)
    lead(page)
    page.locator("summary", has_text="Forecast").click()
    page.get_by_role("button", name="Fetch the forecast").click()
    expect(page.get_by_text("No weather service is set").first).to_be_visible()


def test_fault_in_a_day_is_told_at_its_field(page: Page, console: Watch) -> None:
    console.allow("status of 422")
    open_hold(page)
    lead(page)
    page.get_by_label("Latest").fill("2028-01-01")
    latest = page.get_by_label("Latest")
    expect(latest).to_have_accessible_description(re.compile("on or after earliest"))


def test_forecast_of_a_weather_service_is_fetched_and_used(browser: Browser, tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'ledger.db'}"
    with (
        serving({"daily": DAYS["daily"] | {"time": ["2028-01-11", "2028-01-12", "2028-01-13"]}}) as weather,
        running_server(url, TRANSIT_WEATHER_URL=weather.template, no_proxy="127.0.0.1") as address,
    ):
        for page, _ in opened(browser, address, DESK):
            open_hold(page)
            lead(page)
            page.locator("summary", has_text="Forecast").click()
            page.get_by_role("button", name="Fetch the forecast").click()
            expect(page.get_by_text(re.compile("SRG: 2 days, .*, -3 to 7 °C"))).to_be_visible()
            page.get_by_text("Ranges and weather").first.click()
            expect(page.get_by_text("the forecast where given, else monthly normals").first).to_be_visible()
    assert len(weather.asked) == 2
