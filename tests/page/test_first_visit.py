"""The first visit: three steps to an answer, and the page on a phone's home screen."""

import json
import re
import struct
from collections.abc import Callable
from itertools import pairwise

import httpx
from playwright.sync_api import Locator, Page, expect

from tests.app.client import Client
from tests.page.batch import lead


def test_three_steps_lead_to_the_first_answer(
    phone: Page, axe_clean: Callable[[Page], None], shot: Callable[[Page, str], None]
) -> None:
    phone.get_by_role("link", name="First steps").click()
    phone.get_by_label("Currency").fill("gbp")
    phone.get_by_label("Boxes come to").fill("Glasgow")
    phone.keyboard.press("Tab")
    axe_clean(phone)
    phone.get_by_role("button", name="Next").click()
    phone.get_by_label("Seller", exact=True).fill("Invented Ferns")
    # A place that is none does not go by unsaid.
    phone.get_by_label("Boxes leave from").fill("semarang, java")
    phone.keyboard.press("Tab")
    phone.get_by_role("button", name="Next").click()
    expect(phone.get_by_label("Boxes leave from")).to_have_accessible_description(
        re.compile("not in the list of places", re.I)
    )
    phone.get_by_label("Boxes leave from").fill("SRG")
    phone.keyboard.press("Tab")
    axe_clean(phone)
    phone.get_by_role("button", name="Next").click()
    # The names of the columns do not touch.
    labels = phone.locator(".line .field:visible label")
    expect(labels).to_have_count(4)
    spans = sorted((box["x"], box["x"] + box["width"]) for box in map(Locator.bounding_box, labels.all()) if box)
    assert len(spans) == 4
    assert all(before[1] + 3 <= after[0] for before, after in pairwise(spans))
    phone.get_by_label("Genus").fill("Hoya")
    phone.get_by_label("Plants").fill("20")
    phone.get_by_label("Cost each").fill("8")
    phone.get_by_label("Sells for").fill("31")
    phone.get_by_label("Freight by courier").fill("135")
    axe_clean(phone)
    shot(phone, "start_390")
    phone.get_by_role("button", name="To the answer").click()
    assert lead(phone)
    expect(phone.get_by_label("To", exact=True)).to_have_value("Glasgow (GLA)")
    # Told only once; where one lives stays for the next batch.
    expect(phone.get_by_role("link", name="First steps")).to_have_count(0)
    phone.get_by_role("button", name="Start empty").click()
    expect(phone.get_by_label("To", exact=True)).to_have_value("Glasgow (GLA)")
    expect(phone.get_by_text("Amounts in GBP")).to_be_visible()


def test_the_page_can_be_put_on_a_home_screen(client: Client) -> None:
    """By the Web Application Manifest (W3C): a name, where to start, its own window, and icons that are there."""
    assert '<link rel="manifest" href="/page/app.webmanifest">' in client.get("/").text
    served = client.get("/page/app.webmanifest")
    assert served.headers["content-type"] == "application/manifest+json"
    manifest = json.loads(served.text)
    assert (manifest["name"], manifest["start_url"], manifest["display"]) == ("Transit survival", "/", "standalone")
    kept = client.get("/page/service-worker.js").text
    # Phones that take no drawing: 180 px is what Apple's own pages ask for.
    assert '<link rel="apple-touch-icon" href="/page/icon-180.png">' in client.get("/").text
    assert png_size(client.get("/page/icon-180.png")) == (180, 180)
    assert {icon["purpose"] for icon in manifest["icons"]} == {"any", "maskable"}
    for icon in manifest["icons"]:
        drawn = client.get(icon["src"])
        assert drawn.headers["content-type"] == icon["type"]
        if icon["type"] == "image/png":
            assert icon["sizes"] == "{}x{}".format(*png_size(drawn))
        else:
            assert drawn.text.startswith("<svg ")
        assert icon["src"] in kept


def png_size(served: httpx.Response) -> tuple[int, int]:
    """Return width and height of a PNG file: its first chunk, 16 bytes in (W3C, PNG specification, 11.2.1)."""
    assert served.headers["content-type"] == "image/png"
    assert served.content.startswith(b"\x89PNG\r\n\x1a\n")
    width, height = struct.unpack_from(">II", served.content, 16)
    return width, height
