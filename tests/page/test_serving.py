"""How the page is served: one origin, a strict policy, compressed, not sent again unless changed."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from app.page import files
from model.reference import COLDEST_C, CONSTANTS, WARMEST_C
from tests.app.client import Client
from tests.page.batch import fill_batch, lead
from tests.page.conftest import Watch

STATIC = Path(files.__file__).parent / "static"
NAMES = sorted(str(path.relative_to(STATIC)) for path in STATIC.rglob("*.*"))
FIRST_LOAD_BYTES = 300_000
PLOTS_BYTES = 150_000
# WCAG 2.2, 1.4.11 and 1.4.3: what is drawn, and text.
SHAPES_CONTRAST, TEXT_CONTRAST = 3, 4.5


@pytest.mark.parametrize("path", ["/", "/page/main.js", "/page/page.css", "/page/plot.js"])
def test_policy_allows_this_server_and_nothing_inline(client: Client, path: str) -> None:
    response = client.get(path)
    assert response.status_code == 200
    policy = response.headers["content-security-policy"]
    assert policy.startswith("default-src 'self';")
    assert "unsafe" not in policy
    assert response.headers["x-content-type-options"] == "nosniff"
    assert "set-cookie" not in response.headers


def test_days_that_the_page_asks_about_are_those_that_are_taken(client: Client) -> None:
    taken = client.get("/openapi.json").json()["components"]["schemas"]["RiskQuery"]["properties"]["transit_days"]
    asked = re.search(r"const LONGEST_DAYS = (\d+);", (STATIC / "evidence.js").read_text(encoding="utf-8"))
    assert asked is not None
    assert int(asked[1]) == taken["maximum"]


@pytest.mark.parametrize(
    ("file", "said", "numbers"),
    [
        ("boxes/recheck.js", r"const EARLIEST_DAYS = (\d+);", [CONSTANTS.recheck_earliest_days]),
        ("forecast_text.js", r"const \[COLDEST_C, WARMEST_C\] = \[(-?\d+), (-?\d+)\];", [COLDEST_C, WARMEST_C]),
    ],
)
def test_numbers_that_the_page_repeats_are_those_of_the_tables(file: str, said: str, numbers: list[float]) -> None:
    found = re.search(said, (STATIC / file).read_text(encoding="utf-8"))
    assert found is not None
    assert [float(number) for number in found.groups()] == numbers


@pytest.mark.parametrize("path", ["/", "/page/page.css", "/v1/places"])
def test_what_the_page_loads_first_is_compressed(client: Client, path: str) -> None:
    assert client.get(path, headers={"Accept-Encoding": "gzip"}).headers.get("content-encoding") == "gzip"
    assert "content-encoding" not in client.get(path, headers={"Accept-Encoding": "identity"}).headers


def test_unchanged_file_is_not_sent_again(client: Client) -> None:
    first = client.get("/page/main.js")
    again = client.get("/page/main.js", headers={"If-None-Match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert again.headers["content-security-policy"] == first.headers["content-security-policy"]


@pytest.mark.parametrize("path", ["/page/none.js", "/page/../files.py", "/page/%2e%2e/files.py", "/page/"])
def test_nothing_else_is_served(client: Client, path: str) -> None:
    response = client.get(path)
    assert response.status_code == 404
    assert response.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("name", [name for name in NAMES if name.endswith((".js", ".html", ".css"))])
def test_files_name_no_other_place_and_make_no_markup_from_text(name: str) -> None:
    text = (STATIC / name).read_text(encoding="utf-8")
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)|@import|url\(", text)
    assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function", text)
    assert not re.search(r"<script(?![^>]* src=)|<style|\sstyle=|\son\w+=\"", text)


def test_first_load_is_small_and_plots_need_nothing_more(browser: Browser, server: str) -> None:
    # Nothing kept, and no worker that fetches files meanwhile; compressed, as any browser asks for it.
    context = browser.new_context(base_url=server, service_workers="block")
    page = context.new_page()
    sizes: dict[str, int] = {}
    page.on("requestfinished", lambda request: sizes.update({request.url: request.sizes()["responseBodySize"]}))
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.wait_for_load_state("networkidle")
    assert len(sizes) > 10
    assert min(sizes.values()) > 0
    assert sum(sizes.values()) < FIRST_LOAD_BYTES
    plots = [size for url, size in sizes.items() if "/page/plot" in url]
    assert len(plots) == len([name for name in NAMES if name.startswith("plot")])
    assert sum(plots) < PLOTS_BYTES
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    fill_batch(page)
    lead(page)
    courier = page.get_by_role("region", name="More about courier")
    expect(courier.get_by_role("img", name=re.compile("^Temperature inside")).locator(".curve.mark")).to_be_visible()
    assert asked
    assert all("/v1/" in url for url in asked)
    context.close()


def test_server_that_is_gone_is_said_and_asked_again(page: Page, console: Watch) -> None:
    console.allow("ERR_FAILED")
    fill_batch(page)
    lead(page)
    page.route("**/v1/compare", lambda route: route.abort())
    page.get_by_label("Freight of a box").nth(0).fill("160")
    expect(page.get_by_text("The server cannot be reached.")).to_be_visible()
    page.unroute("**/v1/compare")
    page.get_by_role("button", name="Try again").click()
    lead(page)


def test_colours_keep_their_contrast_when_dark_and_follow_a_change(
    browser: Browser, server: str, axe_clean: Callable[[Page], None], shot: Callable[[Page, str], None]
) -> None:
    context = browser.new_context(base_url=server, color_scheme="dark", viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto("/")
    fill_batch(page)
    lead(page)
    page.get_by_text("More about courier").click()
    plot = page.get_by_role("img", name="Temperature inside the box on courier, day by day")
    expect(plot.locator(".curve.mark")).to_be_visible()
    axe_clean(page)
    shot(page, "compare_dark_390")
    schemes: tuple[Literal["dark", "light"], ...] = ("dark", "light")
    for scheme in schemes:
        page.emulate_media(color_scheme=scheme)
        paper = colour(page.locator("html"), "background-color")
        assert (luminance(paper) < 0.5) == (scheme == "dark")
        for shape in (".curve.mark", ".curve.bad"):
            assert contrast(colour(plot.locator(shape), "stroke"), paper) >= SHAPES_CONTRAST
        for text in (".tick-x", ".tick-y", ".title", ".words"):
            assert contrast(colour(plot.locator(text).first, "fill"), paper) >= TEXT_CONTRAST
    context.close()


def colour(shown: Locator, name: str) -> list[float]:
    """Return red, green and blue, 0 to 255, of a property of a style."""
    value = shown.evaluate("(node, name) => getComputedStyle(node).getPropertyValue(name)", name)
    return [float(part) for part in re.findall(r"[\d.]+", value)]


def luminance(rgb: list[float]) -> float:
    """Return the relative luminance of a colour (WCAG 2.2, its definition)."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (part / 255 for part in rgb)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: list[float], other: list[float]) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, its definition)."""
    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)
