"""What people paste and type, read in the browser: counts, amounts, tables with totals, forecasts of weather pages."""

from typing import Any

from playwright.sync_api import Page

from tests.page.test_numbers import set_up

EACH = """async ([path, name, texts]) => {
    const read = (await import(path))[name];
    return texts.map((text) => read(text));
}"""


def read(page: Page, module: str, name: str, texts: list[str]) -> list[Any]:
    """Return what a function of a module of the page makes of each text."""
    made: list[Any] = page.evaluate(EACH, [f"/page/{module}.js", name, texts])
    return made


def test_counts_and_amounts_as_sellers_write_them(page: Page) -> None:
    set_up(page, locale="en-GB")
    counts = {
        "10 pcs": 10, "10pc": 10, "10 x": 10, "x10": 10, "12 plants": 12, "1,200 pcs.": 1200, "7 Stk": 7, "8": 8,
        "": None, "many": "many", "pcs": "pcs", "10 boxes": "10 boxes", "US$ 14": "US$ 14",
        "$18": "$18", "£ 6": "£ 6",
    }  # fmt: skip
    assert dict(zip(counts, read(page, "amounts", "readCount", list(counts)), strict=True)) == counts
    amounts: dict[str, tuple[float | str | None, str | None]] = {
        "US$ 14": (14, "USD"), "14 USD": (14, "USD"), "usd14.50": (14.5, "USD"), "$14": (14, None),
        "€ 8,50": (8.5, "EUR"), "60,-": (60, None), "60.-": (60, None), "€ 60,–": (60, "EUR"), "60,- €": (60, "EUR"),
        "60,--": (60, None), "kr 60": (60, None), "1.200,50 zł": (1200.5, "PLN"), "Rp 25 000": (25000, None),
        "8.50 each": (8.5, None), "S$12/pc": (12, "SGD"), "-3": (-3, None), "−3": (-3, None), "": (None, None),
        "on request": ("on request", None), "12a": ("12a", None), "1e3": ("1e3", None), "14 abc": ("14 abc", None),
        "25%": (25, None),
    }  # fmt: skip
    made = read(page, "amounts", "readPrice", list(amounts))
    assert {text: (one["value"], one["currency"]) for text, one in zip(amounts, made, strict=True)} == amounts


def test_a_sheet_with_pieces_dollars_and_a_total(page: Page) -> None:
    set_up(page, locale="en-GB", currency="EUR")
    sheets = [
        "Plant\tQty\tPrice\tSell\nHoya kerrii\t10 pcs\tUS$ 14\t60,-\nAlocasia\t5 pcs\tUS$ 8.50\t42,-\n"
        "Total\t15 pcs\tUS$ 182.50\t",
        "Hoya;10;4;15\nAlocasia;5;5;20\n;15;;",
        "Hoya;10;4;15\nTotal Eclipse;5;5;20",
    ]
    first, unnamed, named = read(page, "spreadsheet", "readLines", sheets)
    lines = [(line["genus"], line["quantity"], line["unit_cost"], line["sale_value"]) for line in first["lines"]]
    assert lines == [("Hoya", 10, 14, 60), ("Alocasia", 5, 8.5, 42)]
    assert "Left out as a total: row 4." in first["notes"]
    assert "Amounts are in USD, and taken as EUR: nothing is converted." in first["notes"]
    assert [line["genus"] for line in unnamed["lines"]] == ["Hoya", "Alocasia"]
    assert "Left out as a total: row 3." in unnamed["notes"]
    # A name that only begins so is a plant.
    assert [line["genus"] for line in named["lines"]] == ["Hoya", "Total"]


def test_a_message_of_a_seller_is_read_without_its_words_and_charges(page: Page) -> None:
    """Invented messages; a word is a genus here if it is one of four."""
    set_up(page, locale="en-GB", currency="USD")
    kerrii = ("Hoya", "kerrii", 10, 14)
    messages: dict[str, list[tuple[object, ...]]] = {
        "Hi friend, thank you for asking! Today I have:\n1. Hoya Kerrii variegata 10 pcs @ US$ 14\n"
        "2. Anthurium crystalinum, 6, $18\n3) Hoya carnosa 'Krimson Queen' 15 cm - 5 plants, $9.50 = $47.50\n"
        "Total 21 pcs US$ 295.50\nShipping by air US$ 60 for 5 kg\nPhytosanitary certificate $25\n"
        "Thanks, best regards": [
            ("Hoya", "Kerrii variegata", 10, 14),
            ("Anthurium", "crystalinum", 6, 18),
            ("Hoya", "carnosa 'Krimson Queen'", 5, 9.5),
        ],
        "Hoya kerrii 10 pcs US$ 14": [kerrii],
        "10 x Hoya kerrii 14 USD": [kerrii],
        "Hoya kerrii x10 $14/pc": [kerrii],
        "Hoya kerrii 10 14 42": [kerrii],
        "* Hoya kerrii: 14 USD each, 10 pcs": [kerrii],
        "Hoya kerrii US$ 14": [("Hoya", "kerrii", None, 14)],
        "Hoya kerrii, 10, $14\nFreight, 1, $60": [kerrii],
        "Genus\tCultivar\tQty\tCost\nHoya\tkerrii\t10\t14\nFreight\t\t1\t60\nTotal\t\t10\t200": [kerrii],
        "Zygopetalum 4 pcs $6": [("Zygopetalum", None, 4, 6)],
        "Dear buyer, minimum order is 10 pcs and $100": [],
    }
    known = "(word) => ['hoya', 'anthurium', 'begonia', 'alocasia'].includes(word.toLowerCase())"
    made = page.evaluate(
        f"""async (texts) => {{
            const {{ readLines }} = await import("/page/spreadsheet.js");
            return texts.map((text) => readLines(text, {known}));
        }}""",
        list(messages),
    )
    for (text, lines), one in zip(messages.items(), made, strict=True):
        read_lines = [(line["genus"], line["cultivar"], line["quantity"], line["unit_cost"]) for line in one["lines"]]
        assert read_lines == lines, text
    notes = made[0]["notes"]
    assert "Left out as a total: row 5." in notes
    assert "Left out as freight or another charge: row 6, 7; see Costs." in notes
    assert any(note.startswith("No plant is read in: “Hi friend") for note in notes)


def test_where_a_route_overtakes_agrees_with_the_margins_shown(page: Page) -> None:
    """65 plants, invented: from 35 on the dearer route is ahead, but at 65 a second box has thrown it back."""
    set_up(page, locale="en-GB")
    said = page.evaluate(
        """async () => {
            const { breakEvenWords } = await import("/page/comparison.js");
            const { inPageWords } = await import("/page/page_words.js");
            const route = (name, mean) => ({ name, sent: 65, margin: { mean } });
            const found = { from: "courier", to: "air cargo", plants: 35, batch_sale_value: 900 };
            const of = (ours) =>
                breakEvenWords({ break_even: found, routes: [route("courier", 588), route("air cargo", ours)] }, "EUR");
            const words = "must not be before ship_date";
            return [of(568).textContent, of(600).textContent, inPageWords(words)];
        }"""
    )
    assert said[0].endswith("but only until a further box is needed: at your 65, courier is ahead.")
    assert said[1].endswith("; where a further box is needed it may fall behind again.")
    assert said[2] == "must not be before “Left on”"


def test_forecasts_of_weather_pages(page: Page) -> None:
    """The tests' day is 26 November 2027, a Friday."""
    set_up(page, locale="en-GB", unit="c")
    cold = {"date": "2027-11-28", "min_c": -9, "max_c": 2}
    mild = {"date": "2027-11-29", "min_c": 0.5, "max_c": 5}
    alike = [
        "2027-11-28, -9, 2\n2027-11-29, 0.5, 5",
        "28/11/2027\t-9°C\t2°C\n29/11/2027\t0.5°C\t5°C",
        "date;min;max\n28.11.2027;-9;2\n29.11.2027;0,5;5",
        "11/28/2027\t−9 °C\t2 °C\n11/29/2027\t0.5 °C\t5 °C",
        "Sat Nov 28\t-9°\t2°\nSun Nov 29\t0.5°\t5°",
        "Sat, Nov 28, 2027, -9, 2\nSun, Nov 29, 2027, 0.5, 5",
        "Sunday 28 November -9 2\nMonday 29 November 0,5 5",
        "28 Nov: -9/2\n29 Nov: 0,5/5",
        "28/11 -9 2\n29/11 0.5 5",
        "28-Nov-2027;-9;2\n29-Nov-2027;0,5;5",
        "So 28. November\t-9\t2\nMo 29. November\t0,5\t5",
        "Day\tHigh\tLow\n28/11/27\t2\t-9\n29/11/27\t5\t0.5",
        "28/11/2027\t2\t-9\n29/11/2027\t5\t0.5",
        "28/11\t15.8 F\t35.6 F\n29/11\t32.9 °F\t41 °F",
    ]
    for text, made in zip(alike, read(page, "forecast_text", "readForecast", alike), strict=True):
        assert (made["days"], made["faults"]) == ([cold, mild], []), text
    # Which comes first is told by the day that follows; alone, by the reader's own way of writing.
    three = ["03/12\t1\t2\n04/12\t1\t2", "12/03\t1\t2\n12/04\t1\t2", "03/12\t1\t2"]
    days = [[day["date"] for day in one["days"]] for one in read(page, "forecast_text", "readForecast", three)]
    assert days == [["2027-12-03", "2027-12-04"], ["2027-12-03", "2027-12-04"], ["2027-12-03"]]
    short, worded = read(page, "forecast_text", "readForecast", ["7 Dec 46", "Dec 7: low 3°C high 8°C"])
    assert short["faults"] == ["row 1: one number is missing: a minimum and a maximum are needed"]
    assert worded["days"] == [{"date": "2027-12-07", "min_c": 3, "max_c": 8}]
    bad = "\n".join(["soon\t1\t2"] * 14 + ["28/11\t5\t3", "29/11\tcold\t3", "30/11\t3\t4", "31/11\t3\t4"])
    [made] = read(page, "forecast_text", "readForecast", [bad])
    assert made["faults"] == [
        "rows 1 to 14 and 18: the date must be written 2027-01-31, or such as 31 Jan",
        "row 15: the minimum must be at most the maximum",
        "row 16: minimum and maximum must be numbers, °C",
    ]
    assert [day["date"] for day in made["days"]] == ["2027-11-30"]
    set_up(page, locale="en-US", unit="f")
    [american] = read(page, "forecast_text", "readForecast", ["12/3\t14\t50"])
    assert american["days"] == [{"date": "2027-12-03", "min_c": -10, "max_c": 10}]
