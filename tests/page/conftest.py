"""The page in a real browser: Debian's Chromium, driven by Playwright, on a server process with a fresh ledger.

For a test: `page` is an open tab of 1280 px on the shared server (`phone` one of 390 px), which fails the test at its
end if the console complained or anything was loaded from elsewhere; `console.allow("status of 422")` lets an expected
complaint pass. `axe_clean(page)` fails on any finding of axe-core. `fresh_page` is a tab on a server of its own, for
tests that write to the ledger. `shot(page, "name")` keeps a screenshot where TRANSIT_PAGE_SHOTS names a folder.
"""

import os
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Page,
    Playwright,
    Request,
    expect,
    sync_playwright,
)

from tests.app.conftest import REQUIRE_VARIABLE, REQUIRED, client  # noqa: F401 - a fixture
from tests.app.servers import running_server
from tests.moments import NOW

SHOTS_VARIABLE = "TRANSIT_PAGE_SHOTS"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
DESK = {"width": 1280, "height": 900}
PHONE = {"width": 390, "height": 844}
# For machines that do other work too.
WAIT_MS = 30_000


class Watch:
    """What the console of a tab complained about, and what it loaded from elsewhere."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._complaints: list[str] = []
        self._allowed: list[str] = []

    def allow(self, pattern: str) -> None:
        """Let complaints that match a regular expression pass."""
        self._allowed.append(pattern)

    def follow(self, page: Page) -> None:
        """Listen to a tab."""
        page.on("console", self._on_console)
        page.on("pageerror", lambda error: self._complaints.append(f"uncaught: {error}"))
        page.on("request", self._on_request)

    def _on_console(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self._complaints.append(f"{message.type}: {message.text}")

    def _on_request(self, request: Request) -> None:
        if not request.url.startswith((self._address, "data:", "blob:")):
            self._complaints.append(f"loaded from elsewhere: {request.url}")

    def complaints(self) -> list[str]:
        """Return what was not allowed."""
        return [text for text in self._complaints if not any(re.search(allowed, text) for allowed in self._allowed)]


def chromium() -> str | None:
    """Return the path of the browser; None where there is none."""
    # The shell is the same engine without windows of its own: a tab costs a third.
    return shutil.which("chromium-headless-shell") or shutil.which("chromium")


LEFT_OUT = pytest.StashKey[int]()


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Without a browser leave out what needs one, but for one test, whose skip says so in one line.

    Last, since what is not asked for should not be the one. Where there must be a browser nothing is left out.
    """
    if REQUIRED or chromium() is not None:
        return
    left_out = [item for item in items if "browser" in getattr(item, "fixturenames", ())][1:]
    config.stash[LEFT_OUT] = len(left_out)
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


@pytest.fixture(scope="package")
def playwright() -> Iterator[Playwright]:
    """Yield the driver of browsers."""
    with sync_playwright() as started:
        yield started


@pytest.fixture(scope="package")
def browser(request: pytest.FixtureRequest, playwright: Playwright) -> Iterator[Browser]:
    """Yield the browser; skip where there is none, or fail if there must be one."""
    path = chromium()
    if path is None:
        if REQUIRED:
            pytest.fail(f"chromium is not installed, and {REQUIRE_VARIABLE} asks for it")
        n = request.config.stash.get(LEFT_OUT, 0)
        pytest.skip(f"the page is not tried in a browser: chromium is not installed, {n} more tests are left out")
    started = playwright.chromium.launch(executable_path=path, args=FLAGS)
    yield started
    started.close()


@pytest.fixture(scope="package")
def server(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Yield the address of a server that tests share; for tests that leave its ledger as it is."""
    with running_server(f"sqlite:///{tmp_path_factory.mktemp('page') / 'ledger.db'}") as address:
        yield address


@pytest.fixture
def fresh_server(browser: Browser, tmp_path: Path) -> Iterator[str]:
    """Yield the address of a server with an empty ledger of its own."""
    with running_server(f"sqlite:///{tmp_path / 'ledger.db'}") as address:
        yield address


def opened(
    browser: Browser, address: str, size: dict[str, int], *, worker: Literal["allow", "block"] = "allow"
) -> Iterator[tuple[Page, Watch]]:
    """Open a tab with nothing kept, and complain at its end.

    Calls that a test answers itself need `worker` blocked: once the service worker has the page, a call may pass by.
    """
    context: BrowserContext = browser.new_context(
        viewport={"width": size["width"], "height": size["height"]},
        base_url=address,
        locale="en-GB",
        timezone_id="Europe/London",
        has_touch=size is PHONE,
        # Compressing the files for each tab would take time that nothing is learned from.
        extra_http_headers={"Accept-Encoding": "identity"},
        service_workers=worker,
    )
    context.set_default_timeout(WAIT_MS)
    context.clock.set_fixed_time(NOW)
    expect.set_options(timeout=WAIT_MS)
    watch = Watch(address)
    context.on("page", watch.follow)
    page = context.new_page()
    page.goto("/")
    yield page, watch
    context.close()
    assert watch.complaints() == []


@pytest.fixture
def _desk(browser: Browser, server: str) -> Iterator[tuple[Page, Watch]]:
    yield from opened(browser, server, DESK)


@pytest.fixture
def page(_desk: tuple[Page, Watch]) -> Page:
    """Return a tab at desk width on the shared server."""
    return _desk[0]


@pytest.fixture
def console(_desk: tuple[Page, Watch]) -> Watch:
    """Return the watch on the console of `page`."""
    return _desk[1]


@pytest.fixture
def phone(browser: Browser, server: str) -> Iterator[Page]:
    """Yield a tab at phone width on the shared server."""
    for tab, _ in opened(browser, server, PHONE):
        yield tab


@pytest.fixture
def fresh(browser: Browser, fresh_server: str) -> Iterator[tuple[Page, Watch]]:
    """Yield a tab at phone width on a server of its own, with the watch on its console."""
    yield from opened(browser, fresh_server, PHONE)


@pytest.fixture
def fresh_without_worker(browser: Browser, fresh_server: str) -> Iterator[tuple[Page, Watch]]:
    """Yield the same without the page's service worker."""
    yield from opened(browser, fresh_server, PHONE, worker="block")


@pytest.fixture
def fresh_page(fresh: tuple[Page, Watch]) -> Page:
    """Return the tab of `fresh`."""
    return fresh[0]


@pytest.fixture(scope="package")
def axe_clean() -> Callable[[Page], None]:
    """Return a check that axe-core finds nothing, best practices included."""
    axe = Axe()

    def check(page: Page) -> None:
        results = axe.run(page)
        assert results.violations_count == 0, results.generate_report()

    return check


@pytest.fixture(scope="package")
def shot() -> Callable[[Page, str], None]:
    """Return what keeps a screenshot of the whole page, where asked to."""
    folder = os.environ.get(SHOTS_VARIABLE)

    def keep(page: Page, name: str) -> None:
        if folder:
            page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)

    return keep


@dataclass(frozen=True, slots=True)
class Ledger:
    """A server whose ledger tests may write to, each to boxes of its own."""

    address: str
    database: Path


@pytest.fixture(scope="package")
def ledger(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ledger]:
    """Yield a server for tests that put boxes of their own into its ledger."""
    database = tmp_path_factory.mktemp("boxes") / "ledger.db"
    with running_server(f"sqlite:///{database}") as address:
        yield Ledger(address, database)


@pytest.fixture
def boxes(browser: Browser, ledger: Ledger) -> Iterator[tuple[Page, Watch]]:
    """Yield a tab at phone width on the server of `ledger`, with the watch on its console."""
    yield from opened(browser, ledger.address, PHONE)
