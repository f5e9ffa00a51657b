"""How the page is served: one origin, a strict policy, compressed, not sent again unless changed, charts last."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from app.page import files
from tests.app.client import Client
from tests.page.batch import fill_batch, lead
from tests.page.conftest import Watch

STATIC = Path(files.__file__).parent / "static"
NAMES = sorted(str(path.relative_to(STATIC)) for path in STATIC.rglob("*.*"))
FIRST_LOAD_BYTES = 300_000


@pytest.mark.parametrize("path", ["/", "/page/main.js", "/page/page.css", "/page/plotly.min.js"])
def test_policy_allows_this_server_and_nothing_inline(client: Client, path: str) -> None:
    response = client.get(path)
    assert response.status_code == 200
    policy = response.headers["content-security-policy"]
    assert policy.startswith("default-src 'self';")
    assert "unsafe" not in policy
    assert response.headers["x-content-type-options"] == "nosniff"
    assert "set-cookie" not in response.headers


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


def test_first_load_is_small_and_charts_come_after_an_answer(page: Page) -> None:
    sizes: dict[str, int] = {}
    page.context.set_extra_http_headers({})  # compressed, as any browser asks for it
    page.on("requestfinished", lambda request: sizes.update({request.url: request.sizes()["responseBodySize"]}))
    page.reload()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.wait_for_load_state("networkidle")
    assert len(sizes) > 10
    assert sum(sizes.values()) < FIRST_LOAD_BYTES
    assert not any("plotly" in url for url in sizes)
    with page.expect_request("**/plotly.min.js"):
        fill_batch(page)
    lead(page)


def test_page_answers_without_the_chart_library(page: Page, console: Watch) -> None:
    console.allow("ERR_FAILED")
    page.route("**/plotly.min.js", lambda route: route.abort())
    fill_batch(page)
    lead(page)
    courier = page.get_by_role("region", name="courier", exact=True)
    expect(courier.get_by_text("The plot could not be drawn; its numbers stand in the table.")).to_be_visible()
    expect(courier.get_by_role("columnheader", name="Under way")).to_be_visible()


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


def test_dark_colours_keep_their_contrast(browser: Browser, server: str, axe_clean: Callable[[Page], None]) -> None:
    context = browser.new_context(base_url=server, color_scheme="dark", viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto("/")
    fill_batch(page)
    lead(page)
    axe_clean(page)
    context.close()
