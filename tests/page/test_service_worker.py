"""The files kept for when there is no connection: all of them, never shown while the server answers."""

import json
import re
from importlib.resources import files

from playwright.sync_api import Page, expect

from app.page.service_worker import service_worker
from tests.page.conftest import Watch


def test_every_file_of_the_page_is_kept() -> None:
    static = files("app.page") / "static"
    found = re.search(r"const FILES = (\[.*\]);", service_worker())
    assert found is not None
    kept = json.loads(found[1])
    on_disk = {"/page/" + str(path.relative_to(str(static))) for path in static.rglob("*") if path.is_file()}  # type: ignore[attr-defined]
    assert sorted(kept) == sorted(on_disk - {"/page/index.html"} | {"/"})
    assert "{{" not in service_worker()


def test_kept_files_stand_in_only_without_the_server(boxes: tuple[Page, Watch]) -> None:
    page, watch = boxes
    watch.allow("ERR_INTERNET_DISCONNECTED")
    page.evaluate("() => navigator.serviceWorker.ready")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    leaf = "async () => (await fetch('/page/leaf.svg')).text()"
    page.evaluate(
        """async () => {
            const [name] = (await caches.keys()).filter((key) => key.startsWith('transit-page-'));
            await (await caches.open(name)).put('/page/leaf.svg', new Response('an older leaf'));
        }"""
    )
    assert page.evaluate(leaf) != "an older leaf"
    page.context.set_offline(True)
    assert page.evaluate(leaf) == "an older leaf"
    page.context.set_offline(False)


def test_files_of_an_older_version_are_dropped(boxes: tuple[Page, Watch]) -> None:
    page, _ = boxes
    page.evaluate(
        """async () => {
            await caches.open('transit-page-0');
            await (await navigator.serviceWorker.ready).unregister();
        }"""
    )
    page.reload()
    page.evaluate("() => navigator.serviceWorker.ready")
    page.wait_for_function("async () => !(await caches.keys()).includes('transit-page-0')")
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    assert page.evaluate("async () => (await caches.keys()).length") == 1
