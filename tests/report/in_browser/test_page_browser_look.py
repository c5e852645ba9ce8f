"""The page in a real browser: quiet, whole, within the window, on screen and on paper."""

import csv
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def opened(open_page, reported, lay_out):
    page = lay_out(open_page(reported))
    yield page
    page.close()


@pytest.fixture(scope="module")
def opened_heights(open_page, reported_heights, lay_out):
    page = lay_out(open_page(reported_heights))
    yield page
    page.close()


@pytest.fixture(scope="module")
def opened_sections(open_page, reported_sections, lay_out):
    page = lay_out(open_page(reported_sections))
    yield page
    page.close()


@pytest.fixture(scope="module")
def opened_struts(open_page, reported_struts, lay_out):
    page = lay_out(open_page(reported_struts))
    yield page
    page.close()


@pytest.fixture(scope="module")
def opened_rates(open_page, reported_rates, lay_out):
    page = lay_out(open_page(reported_rates))
    yield page
    page.close()


@pytest.fixture(params=["opened", "opened_heights", "opened_sections", "opened_struts", "opened_rates"])
def either(request):
    return request.getfixturevalue(request.param)


def test_no_console_message_and_no_request(opened, reported):
    assert opened.said == []
    assert [url for url in opened.asked if not url.startswith("data:")] == [
        (reported / "report.html").as_uri()
    ]


def test_tables_have_a_row_for_each_row_of_the_files(opened, reported):
    for section, name in (("groups", "groups"), ("specimens", "specimens"), ("surfaces", "specimens")):
        with Path(reported / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
            rows = list(csv.DictReader(handle))
        shown = opened.locator(f"#{section} tbody tr").count()
        assert shown == len(rows)
    assert opened.locator("#not-measured tbody tr").count() == 2


@pytest.mark.parametrize("width", [1366, 1920, 800, 390])
def test_nothing_runs_off_the_side(either, width):
    opened = either
    opened.set_viewport_size({"width": width, "height": 768})
    assert opened.evaluate("document.documentElement.scrollWidth") <= width
    if width >= 1366:
        wide = "[...document.querySelectorAll('.scroll')].filter(e => e.scrollWidth > e.clientWidth).length"
        assert opened.evaluate(wide) == 0
    opened.set_viewport_size({"width": 1366, "height": 768})


def test_hostile_specimen_is_harmless_text(opened):
    assert opened.locator("script").count() == 1
    assert opened.evaluate("document.querySelectorAll('.specimen script').length") == 0
    assert opened.get_by_text("X<script>alert(1)</script>").count() > 0


def test_pictures_are_drawn_and_have_words(opened):
    shots = opened.locator("svg.shot")
    assert shots.count() == 23  # 12 fields, one of them without degraded area
    for index in range(shots.count()):
        assert shots.nth(index).get_attribute("aria-label")
    sizes = opened.evaluate(
        "Promise.all([...document.querySelectorAll('svg.shot image')].map(async e => "
        "{const i = new Image(); i.src = e.href.baseVal; await i.decode(); return i.naturalWidth}))"
    )
    assert sizes == [400] * 12


def test_text_is_large_enough(either):
    small = either.evaluate(
        "[...document.querySelectorAll('main *')].filter(e => e.childNodes.length && "
        "[...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()) && "
        "parseFloat(getComputedStyle(e).fontSize) < 12).map(e => e.outerHTML.slice(0, 80))"
    )
    assert small == []


def test_height_maps_are_drawn_quietly_and_have_words(opened_heights):
    assert opened_heights.said == []
    shots = opened_heights.locator(".specimen .maps svg.shot")
    assert shots.count() == 10
    for index in range(shots.count()):
        assert "Height map maps/" in shots.nth(index).get_attribute("aria-label")
    sizes = opened_heights.evaluate(
        "Promise.all([...document.querySelectorAll('.specimen .maps svg.shot image')].map(async e => "
        "{const i = new Image(); i.src = e.href.baseVal; await i.decode(); return i.naturalWidth}))"
    )
    assert sizes == [240] * 10


def test_sections_are_drawn_quietly_beside_their_charts(opened_sections):
    assert opened_sections.said == []
    shots, charts = (opened_sections.locator(f".specimen svg.{name}") for name in ("shot", "plot"))
    assert (shots.count(), charts.count()) == (6, 7)
    for drawn in (shots, charts):
        for index in range(drawn.count()):
            assert drawn.nth(index).get_attribute("aria-label")
    picture = opened_sections.locator(".specimen .viewer").first.bounding_box()
    chart = charts.first.bounding_box()
    assert chart["x"] > picture["x"] + picture["width"] - 1
    assert chart["y"] == pytest.approx(picture["y"], abs=30)


def test_zero_lies_inside_the_colour_bar(opened_heights):
    outside = opened_heights.evaluate(
        "[...document.querySelectorAll('.colours')].filter(p => {"
        "const bar = p.querySelector('.cividis').getBoundingClientRect(),"
        " zero = p.querySelector('.zero').getBoundingClientRect();"
        "return bar.width < 100 || zero.left < bar.left - 1 || zero.left > bar.right + 1}).length"
    )
    assert outside == 0


def test_struts_are_drawn_quietly_and_their_words_stay_on_the_picture(opened_struts):
    assert opened_struts.said == []
    shots = opened_struts.locator(".specimen svg.shot")
    assert shots.count() == 6
    astray = opened_struts.evaluate(
        "[...document.querySelectorAll('.specimen svg[role=img]')].flatMap(s => {"
        "const box = s.getBoundingClientRect();"
        "return [...s.querySelectorAll('text')].filter(t => {const b = t.getBoundingClientRect();"
        "return b.left < box.left - 1 || b.right > box.right + 1 || b.bottom > box.bottom + 1 "
        "|| b.top < box.top - 1}).map(t => t.textContent)})"
    )
    assert astray == []


def test_numbers_of_the_colours_do_not_run_into_each_other(opened_struts):
    for width in (1366, 390):
        opened_struts.set_viewport_size({"width": width, "height": 768})
        touching = opened_struts.evaluate(
            "[...document.querySelectorAll('.widths')].filter(w => {const b = [...w.querySelectorAll('.at')]"
            ".map(e => e.getBoundingClientRect());"
            "return b.length < 3 || b[0].left < 0 || b.some((r, i) => i && r.left < b[i - 1].right + 4)})"
            ".length"
        )
        assert touching == 0
    opened_struts.set_viewport_size({"width": 1366, "height": 768})


def test_figures_are_scrolled_not_shrunk_on_a_phone(opened_heights):
    opened_heights.set_viewport_size({"width": 390, "height": 768})
    shrunk = opened_heights.evaluate(
        "[...document.querySelectorAll('.chart svg')].filter(s => s.getBoundingClientRect().width < "
        "Math.min(900, parseFloat(s.style.maxWidth)) - 1).length"
    )
    assert shrunk == 0
    assert opened_heights.evaluate(
        "[...document.querySelectorAll('.chart .scroll')].every(e => e.tabIndex === 0)"
    )
    opened_heights.set_viewport_size({"width": 1366, "height": 768})


def test_charts_of_rates_are_drawn_quietly_and_their_labels_stay_on_them(opened_rates):
    assert opened_rates.said == []
    cut = """[...document.querySelectorAll(':is(#rates, #sweeps, #exposure) svg.plot text')]
        .filter(t => { const a = t.getBoundingClientRect(), b = t.closest('svg').getBoundingClientRect();
                       return a.left < b.left - 1 || a.right > b.right + 1 || a.top < b.top - 1
                           || a.bottom > b.bottom + 1; }).map(t => t.textContent)"""
    assert opened_rates.evaluate(cut) == []
    charts = opened_rates.locator("svg.plot")
    assert charts.count() >= 2 + 2 + 5  # groups, log and acid, sweeps with their loops
    assert all(charts.nth(k).get_attribute("aria-label") for k in range(charts.count()))
