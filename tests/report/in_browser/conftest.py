"""Pages of small studies, opened in a real browser."""

import shutil

import pytest

ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
STUDIES = ("reported", "reported_heights", "reported_sections", "reported_struts", "reported_rates")


def browser_path():
    """A Chromium on this machine; without one the test fails: a page nobody opened is not tested."""
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
    found = next((path for name in names if (path := shutil.which(name))), None)
    if found is None:
        pytest.fail("no Chromium or Chrome found: install one (Debian: apt-get install chromium)")
    return found


@pytest.fixture(scope="session")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=browser_path(), args=list(ARGUMENTS))
        yield running
        running.close()


@pytest.fixture(scope="session")
def open_page(browser):
    """Function that opens the page of a study, and notes what it says on the console and asks for."""

    def opened(folder, name="report.html", **more):
        page = browser.new_page(**{"viewport": {"width": 1366, "height": 768}, **more})
        page.said, page.asked = [], []
        page.on("console", lambda message: page.said.append(message.text))
        page.on("pageerror", lambda error: page.said.append(str(error)))
        page.on("request", lambda request: page.asked.append(request.url))
        page.goto((folder / name).as_uri())
        page.wait_for_load_state("networkidle")
        return page

    return opened


@pytest.fixture(scope="session")
def lay_out():
    """Function that makes a page ready whole: every picture in its place, everything unfolded."""

    def whole(page):
        page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
        page.evaluate("dispatchEvent(new Event('beforeprint'))")
        page.add_style_tag(content=".specimen { content-visibility: visible !important }")
        assert page.locator(".waiting").count() == 0
        return page

    return whole


@pytest.fixture(scope="session", params=STUDIES)
def any_study(request):
    """The folder of each of the small studies."""
    return request.getfixturevalue(request.param)
