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
WIDTH, HEIGHT = 1200, 1150
QUIET = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")


def main(chromium: str | None) -> None:
    """Write page.png (its top) and pictures.png (its first pictures with outlines)."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(QUIET))
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
        page.goto(PAGE.as_uri())
        page.screenshot(path=HERE / "page.png")
        page.locator("#pictures").evaluate("section => section.scrollIntoView()")
        page.screenshot(path=HERE / "pictures.png")
        browser.close()


if __name__ == "__main__":
    main(*(sys.argv[1:2] or [shutil.which("chromium")]))
