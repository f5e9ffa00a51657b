"""A form that forgives: places typed and left, names that follow, folds that say what counts, a way past it all."""

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.app.ledger_files import csv_bytes, row
from tests.page.batch import fill_batch, lead
from tests.page.conftest import Watch


def match_places(page: Page) -> None:
    """Type places roughly and leave them."""
    origin, destination = (page.get_by_label(label, exact=True) for label in ("From", "To"))
    destination.fill("toront")
    destination.press("Tab")
    expect(destination).to_have_value(re.compile(r"^Toronto \(Y\w\w\)$"))
    origin.fill("new")  # New Delhi, New York; not an airport that we know
    origin.blur()
    page.get_by_role("group", name="Journey").get_by_role("button", name=re.compile(r"^New York \(")).click()
    expect(origin).to_have_value(re.compile(r"^New York \("))
    lead(page)


def name_routes(page: Page) -> None:
    """Change the service of a route."""
    # A name that nobody chose follows the service; one of the buyer's own stays.
    route = page.get_by_role("group", name="Route 1")
    name = route.get_by_label("Name", exact=True)
    route.get_by_label("Service").select_option("post")
    expect(name).to_have_value("post")
    name.fill("the usual van")
    route.get_by_label("Service").select_option("courier")
    expect(name).to_have_value("the usual van")


def fold_and_tell(page: Page) -> None:
    """Fill in what is folded away, and fold it: the fold says what counts."""
    costs = page.locator("summary", has_text="Costs and claims")
    costs.click()
    certificate = page.get_by_label("Certificate", exact=True)
    # A currency is a label: an amount in another one is not taken, the answer waits for it.
    certificate.fill("US$ 160")
    expect(certificate).to_have_accessible_description(
        re.compile("Is in USD, the form in EUR: a currency is only a label here, so convert it first")
    )
    expect(page.locator(".answer")).to_contain_text("One field needs a correction.")
    certificate.fill("€ 40,-")
    certificate.blur()
    expect(certificate).to_have_value("40")
    costs.click()
    expect(costs).to_contain_text("Certificate 40 EUR")
    forecast = page.locator("summary", has_text="Forecast")
    forecast.click()
    page.get_by_label("Rows: date, minimum, maximum").fill("Sun Nov 28\t-3°C\t5°C\nMon Nov 29\t-2\t6")
    page.get_by_role("button", name="Take these days").click()
    forecast.click()
    expect(forecast).to_contain_text(re.compile(r"Y\w\w 2 days, 28 Nov to 29 Nov"))


def split_and_undo(page: Page) -> None:
    """Type a species beside a cultivar, and take a line away by mistake."""
    line = page.get_by_role("group", name="Line 2")
    genus, cultivar = line.get_by_label("Genus"), line.get_by_label("Cultivar")
    cultivar.fill("Compacta")
    genus.fill("Hoya carnosa")
    cultivar.focus()
    expect(genus).to_have_value("Hoya")
    expect(cultivar).to_have_value("carnosa Compacta")
    plants = line.get_by_label("Plants")
    plants.fill("12 pcs")
    page.get_by_role("button", name="Remove line 2").click()
    expect(line).to_have_count(0)
    page.get_by_role("button", name="Undo: put Hoya back").click()
    expect(plants).to_have_value("12")
    expect(cultivar).to_have_value("carnosa Compacta")
    plants.fill("10")


def two_tabs(page: Page) -> None:
    """Change the batch in another tab: neither is lost without a word."""
    other = page.context.new_page()
    other.goto("/")
    freight = [tab.get_by_label("Freight of a box").first for tab in (page, other)]
    freight[1].fill("140")
    notice = page.locator(".notice", has_text="The batch was changed in another tab.")
    expect(notice).to_be_visible()
    freight[0].fill("150")
    other.reload()
    expect(freight[1]).to_have_value("140")
    page.get_by_role("button", name="Take the other tab's").click()
    expect(freight[0]).to_have_value("140")
    expect(notice).to_have_count(0)
    freight[0].fill("135")
    other.get_by_role("button", name="Keep this one").click()
    page.get_by_role("button", name="Take the other tab's").click()
    expect(freight[0]).to_have_value("140")
    other.close()


def test_places_routes_and_folds_of_the_form(
    page: Page, axe_clean: Callable[[Page], None], shot: Callable[[Page, str], None]
) -> None:
    page.emulate_media(color_scheme="dark")
    fill_batch(page)
    lead(page)
    match_places(page)
    name_routes(page)
    fold_and_tell(page)
    split_and_undo(page)
    two_tabs(page)
    lead(page)
    axe_clean(page)
    shot(page, "compare-dark-folds")

    # By keyboard past the form: the first stop in the view.
    page.locator("main").focus()
    page.keyboard.press("Tab")
    past = page.get_by_role("link", name="Past the form to the answer")
    expect(past).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".answer .lead")).to_be_focused()
    assert page.evaluate("location.hash") in ("", "#compare")

    page.goto("/#hold")
    papers = page.locator("summary", has_text="Papers with an age")
    papers.click()
    page.get_by_role("checkbox", name="Sat").check()
    page.get_by_label("Certificate issued").fill("2027-11-20")
    page.get_by_label("Valid for").first.fill("14")
    papers.click()
    expect(papers).to_contain_text("certificate of 20 Nov, valid 14 days; no departure on Sat")
    expect(page.locator("summary", has_text="The batch")).to_contain_text("30 plants, by the usual van or air cargo")
    lead(page)
    axe_clean(page)


def test_a_file_s_dates_are_asked_about_and_an_empty_one_is_given(boxes: tuple[Page, Watch]) -> None:
    page, watch = boxes
    watch.allow("status of 422")
    page.goto("/#look-back")
    with page.expect_download() as offered:
        page.get_by_role("button", name="An empty file to start from").click()
    assert offered.value.path().read_bytes() == csv_bytes().replace(b"\n", b"\r\n")
    content = csv_bytes(row(shipment="Asked about", ship_date="03/04/2027", arrival_date="09/04/2027"))
    file = {"name": "boxes.csv", "mimeType": "text/csv", "buffer": content}
    page.get_by_label("File of arrived boxes").set_input_files(file)  # type: ignore[arg-type]
    page.get_by_role("button", name="Take in").click()
    page.get_by_text("What the columns hold").click()
    expect(page.get_by_role("definition").filter(has_text="foam_box: ")).to_be_visible()
    asked = page.get_by_role("group", name=re.compile("two ways .2 cells.. What is meant by such as 03.04.2027"))
    expect(page.get_by_role("region", name="Table: cells to mend")).to_have_count(0)  # what one answer settles
    expect(asked.get_by_role("button", name="4 March: month first")).to_have_count(1)
    asked.get_by_role("button", name="3 April: day first").click()
    expect(page.get_by_text("1 box added, 0 unchanged, 0 replaced; 1 line.")).to_be_visible()
    page.goto("/#boxes")
    box = page.get_by_role("article").filter(has_text="Asked about")
    expect(box.get_by_text(re.compile("Arrived Fri,? 9 Apr 2027"))).to_be_visible()
