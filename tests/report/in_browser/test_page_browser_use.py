"""The page used: sorted, filtered, zoomed, outlines taken off, by mouse and by keyboard."""

import re

import pytest

pytestmark = pytest.mark.slow

SORT = "[...document.querySelectorAll('#specimen-table tbody tr:not([hidden])')].map(r => r.cells[{}].{})"
BOX = "document.querySelector('.viewer .frame').getAttribute('viewBox').split(' ').map(Number)"


@pytest.fixture
def page(open_page, reported):
    opened = open_page(reported)
    yield opened
    assert opened.said == []
    assert [url for url in opened.asked if not url.startswith("data:")] == [
        (reported / "report.html").as_uri()
    ]
    opened.close()


@pytest.fixture
def viewer(page):
    """The first picture of the page, in view."""
    page.evaluate("document.querySelector('#specimen-A1').scrollIntoView()")
    found = page.locator(".viewer").first
    found.wait_for()
    found.scroll_into_view_if_needed()
    return found


def column(page, name):
    """Place of a column of the table of specimens."""
    heads = page.locator("#specimen-table thead th").all_inner_texts()
    return next(k for k, text in enumerate(heads) if text.startswith(name))


def test_a_click_on_a_head_sorts_by_full_values_and_again_the_other_way(page):
    place = column(page, "Pit density")
    button = page.locator("#specimen-table thead th").nth(place).locator("button")
    for order in ("ascending", "descending"):
        button.click()
        shown = page.evaluate(SORT.format(place, "dataset.value"))
        numbers = [float(text) for text in shown if text is not None]
        assert numbers == sorted(numbers, reverse=order == "descending") and len(numbers) == 7
        assert shown[-1] is None  # what has no value stands last either way
        assert page.locator("#specimen-table [aria-sort]").count() == 1
        assert page.locator("#specimen-table thead th").nth(place).get_attribute("aria-sort") == order


def test_sorted_by_keyboard_and_by_name(page):
    page.locator("#specimen-table thead button").first.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    names = page.evaluate(SORT.format(0, "textContent"))
    assert names[:2] == ["X<script>alert(1)</script>", "U2"] and names[-1] == "A1"


def test_filter_by_words_and_group_counts_what_is_left(page):
    count = page.locator("#specimen-count")
    assert count.get_attribute("aria-live") == "polite"
    assert count.inner_text() == "8 of 8 specimens shown"
    page.get_by_label("Filter").fill("uncoated U1")
    assert page.evaluate(SORT.format(0, "textContent")) == ["U1"]
    assert count.inner_text() == "1 of 8 specimens shown"
    page.get_by_label("Filter").fill("no such thing")
    assert count.inner_text() == "0 of 8 specimens shown"
    page.get_by_label("Filter").fill("")
    page.get_by_label("Group", exact=True).select_option("as received")
    assert page.evaluate(SORT.format(0, "textContent")) == ["A1", "A2", "A3"]
    assert count.inner_text() == "3 of 8 specimens shown"


def test_name_in_the_table_leads_to_its_section(page):
    page.locator("#specimen-table").get_by_role("link", name="U2", exact=True).click()
    assert page.url.endswith("#specimen-U2")
    page.wait_for_function("document.querySelector('#specimen-U2 image') !== null")
    top = page.locator("#specimen-U2").bounding_box()["y"]
    assert -5 <= top <= 400


def test_pictures_are_made_only_when_they_come_near(page):
    before = page.locator("svg.shot").count()
    assert page.locator("figure .waiting").count() == 12 and before == 0
    page.evaluate("document.querySelector('#specimen-R2').scrollIntoView()")
    page.wait_for_function("document.querySelector('#specimen-R2 image') !== null")
    assert page.locator("figure .waiting").count() > 0


def test_buttons_zoom_and_the_scale_bar_follows(page, viewer):
    width = float(viewer.locator(".frame").get_attribute("width"))
    text = viewer.locator(".scale-bar text")

    def bar():
        """Micrometres by the words and by the length drawn, and that length as a share of the picture."""
        drawn = float(re.search(r"h([\d.]+)", viewer.locator(".scale-bar path").get_attribute("d"))[1])
        per_px = float(viewer.locator(".scale-bar").get_attribute("data-per-px"))
        shown = page.evaluate(BOX)[2]
        return float(text.text_content().split()[0]), drawn * per_px * shown / width, drawn / width

    for clicks in (0, 2, 3):
        for _ in range(clicks):
            viewer.get_by_role("button", name="Zoom in").click()
        said, drawn, share = bar()
        assert drawn == pytest.approx(said, rel=0.01)
        assert 0.08 <= share <= 0.2
    assert page.evaluate(BOX)[2] == pytest.approx(width / 1.5**5, rel=1e-3)
    viewer.get_by_role("button", name="Zoom out").click()
    assert page.evaluate(BOX)[2] == pytest.approx(width / 1.5**4, rel=1e-3)
    viewer.get_by_role("button", name="Whole").click()
    assert page.evaluate(BOX)[:3] == [0, 0, width]


def test_keys_zoom_move_and_take_outlines_off(page, viewer):
    viewer.locator(".stage").focus()
    page.keyboard.press("+")
    page.keyboard.press("+")
    first = page.evaluate(BOX)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    moved = page.evaluate(BOX)
    assert moved[0] > first[0] and moved[1] > first[1] and moved[2:] == first[2:]
    page.keyboard.press("o")
    assert viewer.get_by_role("button", name="Outlines").get_attribute("aria-pressed") == "false"
    page.keyboard.press("0")
    assert page.evaluate(BOX)[:2] == [0, 0]


def test_wheel_zooms_a_picture_in_hand_and_scrolls_the_page_else(page, viewer):
    box = viewer.locator(".frame").bounding_box()
    at = (box["x"] + 0.25 * box["width"], box["y"] + 0.25 * box["height"])
    page.mouse.move(*at)
    page.mouse.wheel(0, -40)
    page.wait_for_timeout(200)
    whole = page.evaluate(BOX)
    assert whole[:2] == [0, 0]
    viewer.scroll_into_view_if_needed()
    box = viewer.locator(".frame").bounding_box()
    at = (box["x"] + 0.25 * box["width"], box["y"] + 0.25 * box["height"])
    page.mouse.click(*at)
    top = page.evaluate("scrollY")
    page.mouse.wheel(0, -400)
    page.wait_for_function(f"{BOX}[2] < {whole[2]}")
    assert page.evaluate("scrollY") == top
    x, y, wide, high = page.evaluate(BOX)
    # the place under the pointer stays where it is
    assert x + 0.25 * wide == pytest.approx(0.25 * whole[2], abs=1)
    assert y + 0.25 * high == pytest.approx(0.25 * whole[3], abs=1)


def test_dragging_moves_a_zoomed_picture_with_the_pointer(page, viewer):
    for _ in range(3):
        viewer.get_by_role("button", name="Zoom in").click()
    box = viewer.locator(".frame").bounding_box()
    x, y, wide, _ = page.evaluate(BOX)
    start = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move(start[0] - 40, start[1] - 20, steps=4)
    page.mouse.up()
    after = page.evaluate(BOX)
    per_px = wide / box["width"]
    assert after[0] - x == pytest.approx(40 * per_px, rel=0.02)
    assert after[1] - y == pytest.approx(20 * per_px, rel=0.02)


def test_outlines_of_one_picture_and_of_all_go_and_come(page, viewer):
    drawn = viewer.locator(".outlines")
    button = viewer.get_by_role("button", name="Outlines")
    assert drawn.evaluate("e => getComputedStyle(e).visibility") == "visible"
    button.click()
    assert drawn.evaluate("e => getComputedStyle(e).visibility") == "hidden"
    assert button.get_attribute("aria-pressed") == "false"
    page.locator("#all-outlines").click()  # off on all
    page.evaluate("document.querySelector('#specimen-U2').scrollIntoView()")
    page.wait_for_function("document.querySelector('#specimen-U2 .outlines') !== null")
    later = page.locator("#specimen-U2 .outlines").first
    assert later.evaluate("e => getComputedStyle(e).visibility") == "hidden"
    page.locator("#all-outlines").click()
    for outlines in (drawn, later):
        assert outlines.evaluate("e => getComputedStyle(e).visibility") == "visible"


def test_keyboard_skips_to_the_summary_and_reaches_every_control(page):
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.getAttribute('href')") == "#content"
    skip = page.locator(".skip").bounding_box()
    assert skip["y"] >= 0
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
    stops = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        stops.add(page.evaluate("document.activeElement.id || document.activeElement.innerText.slice(0, 8)"))
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline != "none"
    assert {"specimen-words", "specimen-group", "A1"} <= stops


def test_paper_has_whole_pictures_no_controls_and_unfolded_provenance(page, viewer):
    viewer.get_by_role("button", name="Zoom in").click()
    zoomed = page.evaluate(BOX)
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    assert page.locator(".waiting").count() == 0
    assert page.evaluate(BOX)[:2] == [0, 0]
    for selector in ("nav", ".controls", ".tools span", ".skip", ".back"):
        assert page.locator(selector).first.evaluate("e => getComputedStyle(e).display") == "none"
    assert page.locator(".provenance:not([open])").count() == 0
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    page.emulate_media(media="screen")
    assert page.evaluate(BOX) == zoomed
    assert page.locator(".provenance[open]").count() == 0


def test_without_script_the_tables_stand_and_the_page_says_what_is_missing(open_page, reported):
    page = open_page(reported, java_script_enabled=False)
    assert page.locator("noscript").inner_text().startswith("Pictures, sorting and filtering need JavaScript")
    assert page.locator("#specimen-table tbody tr").count() == 8
    assert not page.locator(".controls").first.is_visible()
    page.close()
