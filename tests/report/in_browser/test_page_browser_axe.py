"""The page under axe-core, which looks for barriers to people with disabilities, contrast among them."""

import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

AXE = Path(sys.prefix, "axe", "node_modules", "axe-core", "axe.min.js")
RUN = "async () => (await axe.run(document, {resultTypes: ['violations']})).violations"


@pytest.fixture(scope="module")
def axe():
    """The text of axe-core; without it the test fails: a page nobody checked is not accessible."""
    if not AXE.is_file():
        pytest.fail("axe-core is not installed: run .ci/axe with the folder of the environment")
    return AXE.read_text(encoding="utf-8")


def barriers(page, axe):
    """Serious and critical faults, each with where it is."""
    page.evaluate(axe)
    return [
        (fault["id"], fault["help"], [node["html"][:120] for node in fault["nodes"][:3]])
        for fault in page.evaluate(RUN)
        if fault["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_serious_barrier(open_page, lay_out, axe, any_study, scheme):
    page = open_page(any_study, color_scheme=scheme)
    lay_out(page)
    assert barriers(page, axe) == []
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_serious_barrier_on_the_page_of_true_values(open_page, axe, reported, scheme):
    page = open_page(reported, "against_truth.html", color_scheme=scheme)
    assert barriers(page, axe) == [] and page.said == []
    page.close()


def test_no_serious_barrier_on_paper(open_page, lay_out, axe, reported):
    page = open_page(reported, color_scheme="dark")
    lay_out(page)
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert barriers(page, axe) == []
    page.close()


def test_axe_finds_a_barrier_where_there_is_one(open_page, axe, reported):
    page = open_page(reported)
    page.evaluate("document.querySelector('h1').style.color = '#eee'")
    assert "color-contrast" in [name for name, _, _ in barriers(page, axe)]
    page.close()
