"""Draw the page's icons for home screens that take no SVG, from ours: ``python -m tests.page.draw_icons``.

Run it after a change of ``icon-maskable.svg``. The one that fills its square is drawn, since phones round corners.
"""

import shutil
from pathlib import Path

from playwright.sync_api import sync_playwright

from app.page import files
from tests.page.conftest import FLAGS

STATIC = Path(files.__file__).parent / "static"
SIDES_PX = (180, 512)


def main() -> None:
    """Write ``icon-180.png`` and ``icon-512.png`` beside the SVG."""
    drawing = (STATIC / "icon-maskable.svg").read_text(encoding="utf-8")
    with sync_playwright() as started:
        chromium = shutil.which("chromium-headless-shell") or shutil.which("chromium")
        browser = started.chromium.launch(executable_path=chromium, args=FLAGS)
        for side in SIDES_PX:
            page = browser.new_page(viewport={"width": side, "height": side})
            page.set_content(f"<style>body {{ margin: 0 }} svg {{ display: block }}</style>{drawing}")
            page.screenshot(path=STATIC / f"icon-{side}.png")
        browser.close()


if __name__ == "__main__":
    main()
