"""Take the pictures of README.md from the page of the demo study.

    make demo && .venv/bin/python docs/take_pictures.py [CHROMIUM]

Needs the test extra and a Chromium of the system.
"""

import shutil
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
PAGE = HERE.parent / "demo" / "report.html"
WIDTH, HEIGHT = 1200, 1200
SHOWN = "images/C14-2_a.jpg"
QUIET = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


def main(chromium: str | None) -> None:
    """Write page.png (its top) and pictures.png (one field with outlines)."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(QUIET))
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
        page.goto(PAGE.as_uri())
        page.screenshot(path=HERE / "page.png")
        page.set_viewport_size({"width": 1360, "height": 800})  # both panels side by side
        figure = page.locator("#pictures figure").filter(has_text=SHOWN).first
        figure.scroll_into_view_if_needed()
        page.wait_for_timeout(500)
        figure.screenshot(path=HERE / "pictures.png")
        browser.close()


if __name__ == "__main__":
    main(*(sys.argv[1:2] or [shutil.which("chromium")]))
