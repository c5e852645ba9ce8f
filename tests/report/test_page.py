"""The page as text: whole, escaped, self-contained, accessible."""

import base64
import hashlib
import re
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from surfscan.report.build import write_report

VOID = {"meta", "link", "img", "br", "hr", "input"}


class Page(HTMLParser):
    """Collects what the tests ask about, and faults of nesting."""

    def __init__(self, text):
        super().__init__()
        self.stack, self.faults, self.tags, self.words = [], [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if not self.stack or self.stack.pop() != tag:
            self.faults.append((tag, self.getpos()))

    def handle_data(self, data):
        self.words.append(data)

    def all(self, tag):
        return [attributes for name, attributes in self.tags if name == tag]


@pytest.fixture(scope="module")
def text(reported, page_text):
    return page_text(reported)


@pytest.fixture(scope="module")
def page(text):
    return Page(text)


@pytest.fixture(scope="module")
def height_text(reported_heights, page_text):
    return page_text(reported_heights)


@pytest.fixture(scope="module")
def height_page(height_text):
    return Page(height_text)


@pytest.fixture(params=["page", "height_page"])
def any_page(request):
    return request.getfixturevalue(request.param)


def test_well_nested(any_page):
    assert any_page.faults == []
    assert any_page.stack == []


def test_needs_no_other_file_and_no_network(page, text):
    outside = [
        value
        for tag, attributes in page.tags
        for name, value in attributes.items()
        if name in ("src", "href", "xlink:href", "srcset", "data") and not value.startswith(("#", "data:"))
    ]
    assert outside == []
    (script,) = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    assert len(page.all("script")) == 1
    allowed = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    (policy,) = [a["content"] for a in page.all("meta") if a.get("http-equiv") == "Content-Security-Policy"]
    assert f"script-src 'sha256-{allowed}'" in policy and "default-src 'none'" in policy
    for word in ("fetch(", "XMLHttpRequest", "http:", "https:", "localStorage", "eval("):
        assert word not in script
    style = text[text.index("<style>") : text.index("</style>")]
    assert "@import" not in style
    assert set(re.findall(r"url\(([^)]*)\)", style)) == {"#hatch-loss", "#dots-loss", "#hatch-grey"}


def test_hostile_names_stay_text(page, text):
    assert text.count("<script") == 1
    assert "<b>" not in text
    assert "X<script>alert(1)</script>" in "".join(page.words)
    assert "Plates in saline <7 d>" in page.words
    assert any("the image lost.png is missing <here>" in word for word in page.words)


def test_headings_in_order(any_page):
    levels = [int(tag[1]) for tag, _ in any_page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))


def test_language_captions_scopes_and_alt_texts(any_page):
    page = any_page
    assert page.all("html")[0]["lang"] == "en"
    assert len(page.all("caption")) == len(page.all("table")) > 5
    assert all(attributes.get("scope") in ("col", "row") for attributes in page.all("th"))
    for attributes in page.all("svg"):
        if attributes.get("class") == "frame":
            continue  # stands inside a picture that has words
        assert attributes.get("aria-hidden") == "true" or (
            attributes["role"] == "img" and len(attributes["aria-label"]) > 10
        )


def test_ids_are_unique_and_links_lead_somewhere(any_page):
    page = any_page
    own = [a["id"] for tag, a in page.tags if "id" in a and tag in ("section", "image", "pattern")]
    assert len(own) == len(set(own))
    anchors = {a["id"] for _, a in page.tags if "id" in a}
    links = {
        a["href"][1:] for tag, a in page.tags if tag in ("a", "use") and a.get("href", "").startswith("#")
    }
    assert links <= anchors
    named = {a["aria-labelledby"] for _, a in page.tags if "aria-labelledby" in a}
    assert named <= anchors


def test_every_measured_field_is_pictured_once(text):
    assert text.count("data:image/webp") == 12
    assert text.count('class="badge"') == 1


def test_numbers_of_the_tables_stand_on_the_page(page):
    words = "".join(page.words)
    for expected in ("8 to 55", "7 to 54", "no interval", "SD 9.5", "%RA 23", "above\u00a0A5*"):
        assert expected in words


def test_hashes_versions_settings_and_cautions(page, reported):
    words = "".join(page.words)
    from surfscan.store.masks import file_sha256

    for name in ("study.toml", "truth.csv", "images/00.png", "images/11.png"):
        assert file_sha256(reported / name) in words
    for expected in ("min_contrast_to_noise", "surfscan, measuring", "licensed practice govern", "numpy"):
        assert expected in words


def test_page_of_pictures_has_no_section_on_height_maps(page):
    assert {"heights", "texture", "extremes"}.isdisjoint({a.get("id") for a in page.all("section")})
    assert "legend-height" not in {a.get("id") for a in page.all("details")}
    assert "height maps" not in "".join(page.words).lower().replace("pits on height maps", "")


def test_height_maps_have_sections_pictures_and_cautions(height_page, height_text):
    sections = [a["id"] for a in height_page.all("section")]
    assert {"heights", "texture", "extremes", "specimen-H1"} <= set(sections)
    assert height_text.count("data:image/webp") == 11
    assert height_text.count('class="badge"') == 1
    assert height_text.count('class="deepest"') == 9 + 1  # nine maps with pits and the legend
    words = " ".join("".join(height_page.words).replace("\u00a0", " ").split())
    for expected in (
        "a lower bound of penetration, since uniform recession cannot be seen.",
        "≥ 10.0",
        "Refused because",
        "measured maxima are too few",
        "Settings: areal texture",
        "Undercut: a height map sees from above",
        "licensed practice govern",
        "deepest no. 2: ≥ 9.00 µm",
    ):
        assert expected in words


def test_hostile_names_stay_text_in_height_sections(height_page, height_text):
    assert height_text.count("<script") == 1 and "<b>" not in height_text
    assert "".join(height_page.words).count("X<script>alert(1)</script>") >= 4


def test_colour_bar_of_every_map_has_numbers_and_zero(height_text):
    bars = re.findall(r'<p class="colours"><span>([^<]*)</span>.*?left:([\d.]+)%">0</span>', height_text)
    assert len(bars) == 10
    assert all(text.endswith("µm") and 0 <= float(left) <= 100 for text, left in bars)


def luminance(colour):
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("ink", ["#1a1a1a", "#555555", "#00558a"])
@pytest.mark.parametrize("paper", ["#ffffff", "#f5f5f3"])
def test_contrast_of_text(ink, paper, text):
    """WCAG 2.1, success criterion 1.4.3: at least 4.5 to 1."""
    assert ink in text.lower()
    light, dark = luminance(paper), luminance(ink)
    assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_files_of_specimens_are_found_by_the_search_of_a_browser(reported, study_folder, monkeypatch):
    """Text held back in a script is not found; with few specimens none of a provenance is."""
    plain = (reported / "report.html").read_text(encoding="utf-8")
    islands = re.findall(r'<script type="text/plain">(.*?)</script>', plain, re.DOTALL)
    assert islands and not any("Files of A1" in island for island in islands)
    assert "Files of A1" in plain
    monkeypatch.setattr("surfscan.report.page.MANY_SPECIMENS", 1)
    write_report(study_folder)
    held = (study_folder / "report.html").read_text(encoding="utf-8")
    islands = re.findall(r'<script type="text/plain">(.*?)</script>', held, re.DOTALL)
    assert any("Files of A1" in island for island in islands)
