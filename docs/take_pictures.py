"""Take the pictures of README.md from the page of the demo study.

    make demo && .venv/bin/python docs/take_pictures.py [CHROMIUM]

Needs the test extra and a Chromium of the system.
"""

import shutil
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
PAGE = HERE.parent / "demo" / "report.html"
WIDTH, HEIGHT = 1200, 1200
SHOWN = "images/C14-2_a.jpg"
SHOWN_MAP = "heights/U28-2_h1.x3p"
SHOWN_STRUT = "struts/U28-2_strut.jpg"
SHOWN_SECTION = "sections/U28-2_section.jpg"
QUIET = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


def main(chromium: str | None) -> None:
    """Write page.png (its top), and one picture of each kind with what was measured on it."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(QUIET))
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
        page.goto(PAGE.as_uri())
        page.screenshot(path=HERE / "page.png")
        page.set_viewport_size({"width": 1360, "height": 800})  # both panels side by side
        for shown, name in (
            (SHOWN, "pictures.png"),
            (SHOWN_MAP, "heights.png"),
            (SHOWN_STRUT, "strut.png"),
            (SHOWN_SECTION, "section.png"),
        ):
            figure = page.locator(".specimen figure").filter(has_text=shown).first
            # a section is laid out, with its height, once its beginning came into sight
            figure.evaluate("figure => figure.closest('.specimen').scrollIntoView()")
            page.wait_for_timeout(500)
            figure.scroll_into_view_if_needed()
            figure.locator("image").first.wait_for(state="attached")
            page.wait_for_timeout(500)
            figure.screenshot(path=HERE / name)
        browser.close()
    # heights.png keeps all colours: its scale needs more than 256
    for name in ("page.png", "pictures.png", "strut.png", "section.png"):
        with Image.open(HERE / name) as picture:
            small = picture.convert("RGB").quantize(256, dither=Image.Dither.NONE)
        small.save(HERE / name, optimize=True)


if __name__ == "__main__":
    main(*(sys.argv[1:2] or [shutil.which("chromium")]))
