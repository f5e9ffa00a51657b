"""Comparing routes in the page: by keyboard, from a spreadsheet, with slips of spelling and with faults."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.page.batch import fill_batch, height, lead, seven_lines
from tests.page.conftest import Watch
from tests.page.plots import drawn, numbers, reading


def test_keyboard_alone_compares(page: Page) -> None:
    keys = page.keyboard
    page.get_by_label("From", exact=True).focus()
    keys.type("semar")  # Semarang, chosen with the arrow
    expect(page.get_by_role("option").first).to_contain_text("Semarang (SRG)")
    keys.press("ArrowDown")
    keys.press("Enter")
    keys.press("Tab")
    keys.type("Glasgow")
    keys.press("Tab")
    for _ in range(3):  # day, month, year of the date
        keys.press("Tab")
    genus = page.get_by_label("Genus")
    while not genus.evaluate("input => input === document.activeElement"):
        keys.press("Tab")
    for typed in ("Hoya", "", "12", "6.5", "60"):
        keys.type(typed)
        keys.press("Tab")
    freight = page.get_by_label("Freight of a box").first
    while not freight.evaluate("input => input === document.activeElement"):
        keys.press("Tab")
    keys.type("140")
    assert re.match(r"Take courier: \d+ of 12 plants healthy two weeks on, margin €\d+\.", lead(page))
    # What changed is said to a screen reader, once.
    expect(page.locator("#said")).to_have_text(lead(page))
    # Every field that was passed has a name.
    assert page.locator("input:visible, select:visible").evaluate_all("all => all.every(one => one.labels.length)")


def days_are_drawn(route: Locator) -> None:
    """Check the plot of the air in the box of a route against its table, and that it can be read by pointing."""
    plot = route.get_by_role("img", name=re.compile("^Temperature inside"))
    expect(plot.locator(".curve.mark")).to_be_visible()
    expect(plot).to_have_accessible_description(re.compile("^Line: the middle of the hours. Shaded: 9 in 10 hours."))
    figure = plot.locator("xpath=ancestor::figure")
    rows = [row.locator("th, td").all_text_contents() for row in figure.locator("tbody tr").all()]
    shown = drawn(plot)
    day, degrees = reading(shown.ticks_x), reading(shown.ticks_y)
    assert day(0) < day(100)  # later is to the right
    assert degrees(0) > degrees(100)  # warmer is higher up
    assert [day(x) for x, _ in shown.dots] == pytest.approx([float(row[0]) for row in rows], abs=0.01)
    # The table is rounded to whole degrees, the drawing to a tenth of a pixel.
    assert [degrees(y) for _, y in shown.dots] == pytest.approx([numbers(row[1])[0] for row in rows], abs=0.55)
    highest, lowest = shown.bands[0][: len(rows)], shown.bands[0][: len(rows) - 1 : -1]
    assert [degrees(y) for _, y in lowest] == pytest.approx([numbers(row[2])[0] for row in rows], abs=0.55)
    assert [degrees(y) for _, y in highest] == pytest.approx([numbers(row[2])[1] for row in rows], abs=0.55)
    # Below which line cold injures the plant that it injures first.
    genus = re.fullmatch(r"cold injures (\w+) below", plot.locator(".words").text_content() or "")
    genera = route.page.request.get("/v1/genera").json()["items"]
    thresholds = {row["genus"]: row["chill_threshold_c"] for row in genera}
    assert genus
    assert thresholds[genus[1]] == max(thresholds[name] for name in ("Aglaonema", "Hoya"))
    cold = plot.locator(".curve.bad")
    assert degrees(float(cold.get_attribute("y1") or "nan")) == pytest.approx(thresholds[genus[1]], abs=0.01)
    x, y = shown.dots[1]
    plot.hover(position={"x": x, "y": y + 5})
    expect(figure.locator(".pointed")).to_have_text(f"Day 2: {rows[1][1]}, 9 in 10 hours {rows[1][2]}.")


# Of each route what stands below each other, as tops; of its strip the ends of the axis and what is written at it.
COLUMNS = """() => [...document.querySelectorAll(".outcome")].map((column) => ({
    rows: [...column.querySelectorAll("h3, dd, a")].map((cell) => Math.round(cell.getBoundingClientRect().top)),
    axis: [...column.querySelectorAll(".strip .axis")].flatMap((line) => {
        const { top, bottom } = line.getBoundingClientRect();
        return [Math.round(top), Math.round(bottom)];
    }),
    numbers: [...column.querySelectorAll(".strip text")].map((text) => text.textContent),
}))"""
# Fields of one row whose entries do not stand at one height, and names of columns that take two lines.
ASKEW = """() => {
    const shown = (node) => node.checkVisibility() && node.getBoundingClientRect().width > 2;
    const top = (node) => Math.round(node.getBoundingClientRect().top);
    const fields = [...document.querySelectorAll(".fields .field")].filter(shown);
    const rows = Map.groupBy(fields, (field) => `${top(field.parentElement)} ${top(field)}`);
    const entries = (row) => new Set(row.map((field) => top(field.querySelector(".entry"))));
    const wrapped = [...document.querySelectorAll(".line label")].filter(shown).filter(
        (label) => label.offsetHeight > 2 * parseFloat(getComputedStyle(label).fontSize),
    );
    const entriesOfFirst = [...document.querySelectorAll(".line")].map(
        (line) => new Set([...line.querySelectorAll(".entry")].filter(shown).map(top)).size,
    );
    return {
        n_rows: rows.size,
        askew: [...rows.values()].filter((row) => entries(row).size > 1).flat().map((field) => field.textContent),
        wrapped: wrapped.map((label) => label.textContent),
        heights_of_a_line: Math.max(...entriesOfFirst),
    };
}"""


def columns_line_up(page: Page) -> None:
    """Check that what is said of each route stands in common rows, and that their strips are on one scale."""
    first, *others = page.evaluate(COLUMNS)
    # Name, healthy, strip, margin, worst, loss, landed cost, what is not in it, the way to plan it.
    assert len(first["rows"]) == 9
    assert first["rows"] == sorted(first["rows"])
    assert len(first["axis"]) == 2
    assert first["numbers"] == ["0", "15", "30"]
    assert others == [first] * len(others)


def fields_line_up(page: Page) -> None:
    """Check that fields of one row stand at one height, and that names of the columns of plants take one line each."""
    found = page.evaluate(ASKEW)
    assert found.pop("n_rows") > 10
    assert found == {"askew": [], "wrapped": [], "heights_of_a_line": 1}


def test_answer_shows_routes_and_follows_a_change(page: Page, axe_clean: Callable[[Page], None]) -> None:
    fill_batch(page)
    before = lead(page)
    columns_line_up(page)
    for fold in page.locator("form details").all():
        fold.evaluate("fold => { fold.open = true }")
    page.set_viewport_size({"width": 390, "height": 900})
    columns_line_up(page)
    fields_line_up(page)
    page.set_viewport_size({"width": 1280, "height": 900})
    fields_line_up(page)
    # Room for a long name: "Variegata 'Silver Lady'" in the letters of the page.
    cultivar = page.get_by_label("Cultivar").first
    cultivar.fill("Variegata 'Silver Lady'")
    assert cultivar.evaluate("input => input.scrollWidth <= input.clientWidth")
    cultivar.fill("")
    lead(page)
    for route in ("courier", "air cargo"):
        shown = page.get_by_role("region", name=route, exact=True)
        expect(shown.get_by_text(re.compile(r"^\d+ of 30$"))).to_be_visible()
        strip = shown.get_by_role("img", name=re.compile("20 equally likely shipments"))
        expect(strip.locator("circle")).to_have_count(20)
        days_are_drawn(page.get_by_role("region", name=f"More about {route}", exact=True))
    expect(page.get_by_text("Rules of thumb only.")).to_be_visible()
    axe_clean(page)
    page.get_by_label("Freight of a box").nth(0).fill("3000")
    expect(page.locator(".lead")).not_to_have_text(before)
    assert lead(page).startswith("Take air cargo")


def test_bearable_loss_is_a_sentence_with_numbers_to_change(page: Page) -> None:
    fill_batch(page)
    assert lead(page).startswith("Take ")
    page.get_by_label("of so many").fill("1000")
    page.get_by_label("times in ten sure").fill("9.9")
    expect(page.locator(".lead")).to_contain_text("No route keeps the loss within")


def test_what_cannot_be_meant_of_the_loss_is_refused_and_certainty_answered_with_what_is_possible(page: Page) -> None:
    fill_batch(page)
    lead(page)
    of = page.get_by_label("of so many")
    of.fill("0")
    expect(of).to_have_accessible_description(re.compile("at least 1"))
    expect(page.locator(".lead")).to_have_count(0)
    of.fill("1")
    expect(page.get_by_role("group", name="Loss I can bear").get_by_text("Every plant may die then")).to_be_visible()
    of.fill("4")
    sure = page.get_by_label("times in ten sure")
    sure.fill("10")
    sentence = page.get_by_role("group", name="Loss I can bear")
    expect(sentence.get_by_text("Nothing is certain: answered for 9.99 in 10, the most there is.")).to_be_visible()
    expect(page.locator(".lead")).to_contain_text(re.compile(r"the least bad, .*, does with \d+ %"))
    sure.fill("11")
    expect(sure).to_have_accessible_description(re.compile("At most 10"))


def test_costs_left_out_are_offered_with_their_unit_and_counted_only_when_given(page: Page) -> None:
    fill_batch(page)
    lead(page)
    courier = page.get_by_role("region", name="courier", exact=True)
    expect(courier.get_by_text(re.compile("^without certificate, permit, .*not given$"))).to_be_visible()
    expect(page.get_by_text("Usual freight of one box: 125 to 175 EUR.")).to_be_visible()
    page.get_by_text("Costs and claims").click()
    certificate = page.get_by_label("Certificate", exact=True)
    slot = page.locator(f"#{certificate.get_attribute('id')}-assumed")
    expect(slot).to_have_text("Not counted. Usual: 25 to 50 EUR.")
    certificate.fill("77")
    expect(slot).to_be_empty()
    expect(courier.get_by_text(re.compile("^without permit, .*not given$"))).to_be_visible()
    more = page.get_by_role("region", name="More about courier")
    more.get_by_text("Costs, item by item").click()
    expect(more.get_by_role("cell", name="€77.00")).to_be_visible()


def test_lead_and_card_say_one_number_and_the_server_s_sentence(page: Page) -> None:
    with page.expect_response(lambda answer: answer.url.endswith("/v1/compare")):
        fill_batch(page)
    said = lead(page)
    with page.expect_response(lambda answer: answer.url.endswith("/v1/compare")) as asked:
        page.reload()
    answer = asked.value.json()
    # Whole amounts in euros are all that the page says in its own way.
    assert re.sub(r"(-?[\d,]+) EUR", r"€\1", answer["lead"]) == said == lead(page)
    assert re.search(r"; air cargo leaves €\d+ less on average, ", said)
    taken = next(route for route in answer["routes"] if route["name"] == answer["recommended"])
    n = round(taken["plants"]["healthy_two_weeks"]["mean"])
    assert f": {n} of 30 plants" in said
    card = page.get_by_role("region", name=taken["name"], exact=True)
    expect(card.locator(".big strong")).to_have_text(str(n))


def test_cautions_fold_into_a_checklist_by_moment(page: Page) -> None:
    fill_batch(page)
    lead(page)
    page.get_by_text(re.compile(r"^Checklist \(\d+\)$")).click()
    for moment in ("Before paying", "When it is packed", "When it arrives"):
        expect(page.get_by_role("heading", name=moment)).to_be_visible()
    expect(page.get_by_text("Decided by: buyer")).to_have_count(0)
    packed = page.get_by_role("heading", name="When it is packed").locator("+ ul")
    expect(packed.get_by_text("Ask for room handling")).to_have_count(1)


def test_what_to_act_on_stands_above_the_routes(page: Page) -> None:
    fill_batch(page)
    lead(page)
    page.get_by_text("Seller, papers and closed days").click()
    page.get_by_label("Import permit").select_option("missing")
    acts = page.get_by_role("region", name="What to do")
    expect(acts.get_by_role("listitem").first).to_contain_text(re.compile(r"Not in hand.*worth about €\d+ on average"))
    assert acts.get_by_role("listitem").count() <= 3
    above = "(acts) => !!(acts.compareDocumentPosition(document.querySelector('.outcomes')) & 4)"
    assert acts.evaluate(above)
    # What is hardly meant is answered, and asked about first.
    page.get_by_label("To", exact=True).fill("SRG")
    expect(acts.get_by_role("listitem").first).to_contain_text("The box leaves from where it goes, Semarang: ")
    page.get_by_label("Leaves on").fill("2026-12-01")
    asked = "It is to leave on a day that is over, 360 days ago: is the date right?"
    expect(page.locator(".answer .notice").get_by_text(asked)).to_be_visible()
    page.get_by_label("Leaves on").fill("2036-12-01")
    expect(page.get_by_role("group", name="Journey").get_by_text("is the year right?")).to_be_visible()
    expect(page.locator(".answer .notice")).to_contain_text("is the year right?")
    page.get_by_role("link", name="Plan a box this way").first.click()
    page.get_by_role("button", name="Plan it").click()
    expect(page.get_by_text("is the year right? If so, press “Plan it” once more.")).to_be_visible()


def test_seven_lines_on_a_phone_are_within_reach(phone: Page) -> None:
    fill_batch(phone)
    lead(phone)
    seven_lines(phone)
    assert height(phone) < 4000
    phone.get_by_label("Genus").nth(1).fill("Aglaomena")
    phone.get_by_label("Genus").nth(2).focus()
    note = phone.get_by_role("group", name="Line 2").get_by_text("Aglaomena is not in the table of genera.")
    bottom = "note => note.closest('.line').querySelector('input').getBoundingClientRect().bottom"
    assert note.evaluate(f"note => note.getBoundingClientRect().top >= ({bottom})(note)")
    phone.get_by_role("button", name="Use Aglaonema").click()
    phone.get_by_label("Cultivar").nth(1).fill("")
    phone.get_by_label("Genus").nth(2).focus()
    # Where it is empty a cultivar takes no room until its line is being filled in.
    cultivar = phone.get_by_label("Cultivar").nth(1)
    expect(cultivar).to_be_hidden()
    phone.get_by_label("Genus").nth(1).focus()
    expect(cultivar).to_be_visible()


def test_misspelt_genus_is_forgiven(page: Page) -> None:
    genus = page.get_by_label("Genus")
    genus.press_sequentially("Philodendrn")
    expect(page.get_by_role("option").first).to_contain_text("Philodendron")
    genus.fill("Aglaomena")
    genus.blur()
    expect(page.get_by_text("Aglaomena is not in the table of genera.")).to_be_visible()
    page.get_by_role("button", name="Use Aglaonema").click()
    expect(genus).to_have_value("Aglaonema")
    expect(page.get_by_text("not in the table")).to_have_count(0)


@pytest.mark.parametrize(
    "sheet",
    [
        "sells for;cost each;plants;genus;cultivar\n31;8,50;20;Aglaonema;Silver Queen\n42;12;10;Hoya;",
        "Aglaonema commutatum 'Silver Queen',20,8.50,31\nHoya,10,12,42",
        '"genus"\t"cultivar"\t"quantity"\t"unit cost"\t"sale value"\n'
        'Aglaonema\tSilver Queen\t20\t"8.50"\t31\nHoya\t\t10\t12\t42',
    ],
)
def test_cells_of_a_spreadsheet_in_any_order_and_separation(page: Page, sheet: str) -> None:
    page.get_by_text("Paste from a spreadsheet").click()
    page.get_by_label("Cells").fill(sheet)
    page.get_by_role("button", name="Take these lines").click()
    expect(page.get_by_text("2 lines read.")).to_be_visible()
    fields = {"Genus": ("Aglaonema", "Hoya"), "Plants": ("20", "10"), "Cost each": ("8.5", "12")}
    for label, values in fields.items():
        for i, value in enumerate(values):
            expect(page.get_by_label(label, exact=True).nth(i)).to_have_value(value)
    expect(page.get_by_label("Cultivar").nth(0)).to_have_value(re.compile("Silver Queen"))


def test_table_pasted_into_a_cell_becomes_lines(page: Page) -> None:
    page.get_by_label("Genus").evaluate(
        """input => {
            const held = new DataTransfer();
            held.setData("text/plain", "Hoya\\t5\\t4\\t15\\nAlocasia\\t6\\t5\\t20");
            input.dispatchEvent(new ClipboardEvent("paste", {clipboardData: held, bubbles: true, cancelable: true}));
        }"""
    )
    expect(page.get_by_label("Genus")).to_have_count(2)
    expect(page.get_by_label("Genus").nth(1)).to_have_value("Alocasia")


def test_fault_in_a_pasted_cell_is_told_at_the_cell(page: Page) -> None:
    page.get_by_text("Paste from a spreadsheet").click()
    page.get_by_label("Cells").fill("genus\tplants\tcost\tsell\nHoya\tmany\t4\t15")
    page.get_by_role("button", name="Take these lines").click()
    cell = page.get_by_label("Plants", exact=True)
    expect(cell).to_have_attribute("aria-invalid", "true")
    expect(cell).to_have_accessible_description(re.compile("Must be a whole number from 1"))


def test_refusal_of_the_server_is_told_at_its_field(page: Page, console: Watch) -> None:
    console.allow("status of 422")
    fill_batch(page)
    lead(page)
    page.get_by_label("To", exact=True).fill("QQX")
    destination = page.get_by_label("To", exact=True)
    expect(destination).to_have_attribute("aria-invalid", "true")
    expect(destination).to_have_accessible_description(re.compile("code of an airport or a city"))
    page.get_by_role("button", name="Go to the field").click()
    expect(destination).to_be_focused()
    destination.fill("GLA")
    lead(page)
    expect(destination).not_to_have_attribute("aria-invalid", "true")
    # So is what needs no server to be refused.
    page.get_by_label("Plants", exact=True).nth(1).fill("many")
    page.get_by_role("button", name="Go to the field").click()
    expect(page.get_by_label("Plants", exact=True).nth(1)).to_be_focused()


def test_refusal_finds_its_line_and_route_where_others_are_left_out(page: Page, console: Watch) -> None:
    console.allow("status of 422")
    fill_batch(page)
    lead(page)
    for label in ("Genus", "Plants", "Cost each", "Sells for"):
        page.get_by_label(label, exact=True).nth(0).fill("")  # a blank line is not sent
    page.get_by_label("Freight of a box").nth(0).fill("")  # nor a route without freight
    page.get_by_label("Plants", exact=True).nth(1).fill("200000")
    page.get_by_label("Freight of a box").nth(1).fill("-1")
    for label in ("Plants", "Freight of a box"):
        expect(page.get_by_label(label, exact=True).nth(1)).to_have_attribute("aria-invalid", "true")
        expect(page.get_by_label(label, exact=True).nth(0)).not_to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Plants", exact=True).nth(1)).to_have_accessible_description(re.compile("100,000"))


def test_folded_part_opens_for_a_fault_in_it(page: Page, console: Watch) -> None:
    console.allow("status of 422")
    fill_batch(page)
    lead(page)
    page.locator("summary", has_text="Packing").click()
    hours = page.get_by_label("A heat pack lasts")
    hours.evaluate(  # in one step, since the answer to the change may come at any moment
        """input => {
            input.value = "900";
            input.dispatchEvent(new Event("input", {bubbles: true}));
            input.closest("details").open = false;
        }"""
    )
    expect(hours).to_be_visible()
    expect(hours).to_have_accessible_description(re.compile("0 to 240"))
    # A share is refused in the per cent of its field.
    tax = page.get_by_label("Import tax", exact=True)
    tax.evaluate("input => { input.value = '2000'; input.dispatchEvent(new Event('input', {bubbles: true})); }")
    expect(tax).to_have_accessible_description(re.compile("a number, 0 to 200, or nothing"))


def test_fahrenheit_and_dollars(page: Page) -> None:
    fill_batch(page)
    lead(page)
    page.get_by_role("button", name="Settings").click()
    page.get_by_label("Temperatures in").select_option("°F")
    page.get_by_label("Currency").fill("USD")
    page.get_by_role("button", name="Keep").click()
    expect(page.locator(".answer .lead")).to_contain_text("US$")
    shown = page.get_by_role("region", name="More about courier").locator("dd", has_text="°F")
    low, high = (int(n) for n in re.findall(r"\d+", shown.inner_text()))
    assert 35 < low < high < 105  # 2 to 40 °C
    expect(page.get_by_role("main").get_by_text("°C")).to_have_count(0)


def test_a_batch_that_another_replaced_can_be_brought_back(page: Page) -> None:
    fill_batch(page)
    lead(page)
    page.get_by_role("button", name="Start empty").click()
    expect(page.get_by_label("Genus")).to_have_count(1)
    expect(page.get_by_label("Genus")).to_have_value("")
    page.get_by_role("button", name="Bring back the one before").click()
    expect(page.get_by_label("Genus").first).to_have_value("Aglaonema")


def test_what_was_typed_is_kept(page: Page) -> None:
    fill_batch(page)
    said = lead(page)
    page.reload()
    assert lead(page) == said


def test_days_that_are_remembered_move_the_answer_and_are_said(page: Page) -> None:
    fill_batch(page)
    usual = lead(page)
    last = page.get_by_label("Last journeys took, days").first
    last.fill("11, 12 10,5")
    with page.expect_response("**/v1/compare") as answered:
        last.blur()
    asked = answered.value.request.post_data_json
    assert asked is not None
    assert asked["routes"][0]["recent_days"] == [11, 12, 10, 5]
    assert lead(page) != usual
    days = page.get_by_label("Days, usual").first
    expect(page.locator(f"#{days.get_attribute('id')}-assumed")).to_contain_text("told: 11, 12, 10, 5 days")
