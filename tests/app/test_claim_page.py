"""The claim as a page to print: asked for by Accept, hostile texts stay texts, nothing runs and nothing is loaded."""

import re
from html.parser import HTMLParser

import pytest

from app.http.negotiation import prefers_html
from tests.app.client import Client
from tests.app.shipment_calls import Box

HOSTILE_SELLER = "<script>alert(1)</script>"
HOSTILE = {
    "reference": '"><img src=x onerror=alert(2)>',
    "cultivar": "{{ 7*7 }}' onmouseover='alert(3)",
    "note": "</p><iframe src=//nowhere.invalid></iframe>",
    "photo": "<b onclick=alert(4)>.jpg",
}
BROWSER = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"


class Page(HTMLParser):
    """Tags, attributes and texts of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: list[tuple[str, str, str | None]] = []
        self.texts: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    @property
    def text(self) -> str:
        return "".join(self.texts)


def hostile_box(client: Client) -> Box:
    """Return an arrived box whose every text tries to be more than that."""
    lines = [
        {"genus": "Hoya", "cultivar": HOSTILE["cultivar"], "quantity": 20, "unit_cost": 8, "sale_value": 30},
        {"genus": "Hoya", "quantity": 12, "unit_cost": 14, "sale_value": 48},
    ]
    box = Box(client, seller=HOSTILE_SELLER, reference=HOSTILE["reference"], lines=lines)
    box.depart()
    counts = [
        {"line": 0, "healthy": 15, "damaged": 3, "dead": 2, "note": HOSTILE["note"]},
        {"line": 1, "healthy": 12, "damaged": 0, "dead": 0},
    ]
    photo = HOSTILE["photo"]
    box.arrive(lines=counts, photos=[photo])
    return box


def test_texts_of_others_stay_texts(ledger_client: Client) -> None:
    response = ledger_client.get(f"{hostile_box(ledger_client).path}/claim", headers={"accept": "text/html"})
    page = Page(response.text)
    assert not page.tags & {"script", "img", "iframe", "b", "style", "object", "form", "svg", "base"}
    assert {name for _, name, _ in page.attributes} <= {
        "lang", "charset", "name", "content", "rel", "href", "class", "scope", "colspan",
    }  # fmt: skip
    for said in (HOSTILE_SELLER, *HOSTILE.values()):
        assert said in page.text
    assert "49" not in page.text  # 7*7 is not worked out


def test_page_loads_its_style_sheet_and_nothing_else(ledger_client: Client) -> None:
    response = ledger_client.get(f"{hostile_box(ledger_client).path}/claim", headers={"accept": BROWSER})
    assert response.headers["content-type"] == "text/html; charset=utf-8"
    policy = dict(part.strip().split(" ", 1) for part in response.headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["style-src"] == "'self'"
    assert "script-src" not in policy
    assert "unsafe" not in response.headers["content-security-policy"]
    assert (policy["frame-ancestors"], policy["form-action"], policy["base-uri"]) == ("'none'", "'none'", "'none'")
    assert response.headers["x-content-type-options"] == "nosniff"
    page = Page(response.text)
    assert [value for _, name, value in page.attributes if name in ("href", "src")] == ["/page/print.css"]
    style = ledger_client.get("/page/print.css")
    assert (style.status_code, style.headers["content-type"]) == (200, "text/css; charset=utf-8")
    assert not re.search(r"@import|url\(|https?:", style.text)


def test_style_fits_a4_and_letter(ledger_client: Client) -> None:
    style = ledger_client.get("/page/print.css").text
    [page_rule] = re.findall(r"@page\s*{([^}]*)}", style)
    assert "margin" in page_rule
    assert "size" not in page_rule  # the printer's own paper
    # Letter is 215.9 mm wide, A4 210 (ISO 216): what is given a width must fit the narrower one less its margins.
    assert all(float(width) <= 180 for width in re.findall(r"width: (\d+)mm", style))


def test_page_and_data_say_the_same(ledger_client: Client) -> None:
    path = f"{hostile_box(ledger_client).path}/claim"
    data, text = (
        ledger_client.get(path).json(),
        Page(ledger_client.get(path, headers={"accept": "text/html"}).text).text,
    )
    assert data["draft"] in text
    assert f"{data['total']:.2f} GBP" in text
    for part in (data["claimable"], data["rarely_paid"], data["evidence"], data["cautions"], data["clocks"]):
        assert all(item["text"] in text for item in part)
    assert "18 January 2027, 10:00 (UTC+00:00)" in text
    assert "end of 30 January 2027" in text


def test_answers_say_that_they_vary_by_accept(ledger_client: Client) -> None:
    path = f"{hostile_box(ledger_client).path}/claim"
    for accept in ("text/html", "application/json"):
        response = ledger_client.get(path, headers={"accept": accept})
        assert "Accept" in response.headers["vary"]
        assert response.headers["content-type"].startswith(accept)


def test_refusals_are_problems_also_for_a_browser(ledger_client: Client) -> None:
    refused = ledger_client.get("/v1/shipments/nothing/claim", headers={"accept": BROWSER})
    assert (refused.status_code, refused.headers["content-type"]) == (404, "application/problem+json")


@pytest.mark.parametrize(
    ("accept", "html"),
    [
        ("text/html", True),
        ("TEXT/HTML; charset=utf-8", True),
        (BROWSER, True),
        ("text/html;q=0.9, */*;q=1", True),  # data is not named
        ("text/*", True),
        ("", False),
        ("*/*", False),
        ("application/json", False),
        ("application/json, text/html", False),
        ("application/json;q=0.5, text/html;q=0.8", True),
        ("application/json;q=0.8, text/html;q=0.5", False),
        ("application/*;q=0.2, text/html", True),
        ("text/html;q=0", False),
        ("text/html;q=nonsense", False),
        ("text/plain", False),
        (";;,,/", False),
    ],
)
def test_page_is_for_those_who_name_it(accept: str, html: bool) -> None:
    assert prefers_html(accept) == html
