"""Pictures of struts: widths in colour, what was drawn, least places, faults, numbers."""

import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.report.strut_pictures import (
    least_section_words,
    least_width_words,
    make_strut_picture,
)


@pytest.fixture
def picture(strut_records, strut_study):
    return lambda name, size=200_000: make_strut_picture(strut_records[name], strut_study, size)


def marks(layer):
    return re.findall(r'class="strut-mark"[^>]*>([^<]*)<', layer)


def test_strut_is_coloured_in_the_middle_of_its_width(picture):
    """A strut of 20 px at row 100, drawn at 590 / 240: its ribbon keeps to 62 % of the width."""
    drawn = picture("plain")
    assert (drawn.width, drawn.height) == (590, round(200 * 590 / 240))
    layer = drawn.layers["struts"]
    (ribbon,) = re.findall(r'<g class="strut-runs">(.*?)</g>', layer)
    (path,) = re.findall(r'd="M([\d.]+) ([\d.]+)l([^"]*)z"', ribbon)
    x, y = float(path[0]), float(path[1])
    steps = np.array([[float(v) for v in p.split()] for p in re.findall(r"-?[\d.]+ -?[\d.]+", path[2])])
    corners = np.vstack([[x, y], np.array([x, y]) + np.cumsum(steps, axis=0)])
    zoom = 590 / 240
    assert np.ptp(corners[:, 1]) == pytest.approx(0.62 * 20 * zoom, abs=0.3)
    assert corners[:, 1].mean() == pytest.approx(100.5 * zoom, abs=0.3)
    assert corners[:, 0].min() == pytest.approx((50 + 1 + 0.5) * zoom, abs=0.3)


def test_notch_has_a_darker_colour_than_the_rest(picture):
    runs = re.findall(r'<path fill="#(\w+)"', picture("notched").layers["struts"])
    light = [sum(int(c[i : i + 2], 16) for i in (0, 2, 4)) for c in runs]
    assert len(runs) >= 2 and min(light) < 0.6 * max(light)


def test_width_as_drawn_is_dashed_beside_the_strut(picture):
    layer = picture("plain").layers["struts"]
    (path,) = re.findall(r'class="strut-drawn" d="([^"]*)"', layer)
    heights = [float(y) for y in re.findall(r"M[\d.]+ ([\d.]+)l", path)]
    zoom = 590 / 240
    assert sorted(heights) == pytest.approx([(100.5 - 12) * zoom, (100.5 + 12) * zoom], abs=0.4)
    assert "strut-drawn" not in picture("unscaled").layers["struts"]


def test_width_as_drawn_stays_straight_beside_a_notch_on_one_side(strut_result, strut_records, strut_study):
    """The middle of what is left lies aside there; the outline as drawn must not follow it."""
    notch = np.zeros(60)
    notch[25:31] = 8.0
    record = strut_records["plain"]
    table = record.table("stations")
    kept = {n: table[n].copy() for n in ("left_row_px", "width_px")}
    table["left_row_px"] = kept["left_row_px"] + notch
    table["width_px"] = kept["width_px"] - notch
    layer = make_strut_picture(record, strut_study, 200_000).layers["struts"]
    table |= kept
    (path,) = re.findall(r'class="strut-drawn" d="([^"]*)"', layer)
    bends = [float(dy) for dy in re.findall(r"[\d.]+ (-?[\d.]+)(?= |M|$)", path.replace("l", " "))]
    assert max(abs(b) for b in bends if abs(b) < 100) < 0.15 * 8 * 590 / 240


def test_least_width_and_section_are_marked_with_their_numbers(picture):
    assert marks(picture("plain").layers["struts"]) == ["least 10.00\u00a0µm, section left 69.4\u00a0%"]
    assert any(m.startswith("least 6.") for m in marks(picture("notched").layers["struts"]))
    assert "least 20.00\u00a0px" in marks(picture("unscaled").layers["struts"])[0]


def test_least_section_elsewhere_has_a_sign_of_its_own(strut_records, strut_study):
    record = strut_records["mesh"]
    stored = record.results["struts"]
    summary = dict(stored.summary) | {"least_section_row_px": 200.0, "least_section_col_px": 120.0}
    moved = replace(record, results={"struts": replace(stored, summary=summary)}, _unpacked={})
    layer = make_strut_picture(moved, strut_study, 200_000).layers["struts"]
    said = marks(layer)
    assert said[0].startswith("least 8.") and said[1].startswith("least section left ")
    assert layer.count('class="deepest"') == 2


def test_faults_have_a_sign_and_a_name(picture):
    layer = picture("broken").layers["struts"]
    assert layer.count('class="fault"') == 1
    assert "gap 12\u00a0µm" in marks(layer)
    assert "missing" in marks(picture("mesh").layers["struts"])


def test_struts_are_numbered_where_there_are_several(picture):
    assert {"1", "2"} <= set(marks(picture("broken").layers["struts"]))
    assert "1" not in marks(picture("plain").layers["struts"])


def test_of_very_many_struts_only_the_worst_are_numbered(picture, monkeypatch):
    monkeypatch.setattr("surfscan.report.strut_pictures._MOST_NUMBERED", 4)
    monkeypatch.setattr("surfscan.report.strut_pictures._WORST_NUMBERED", 2)
    numbers = [m for m in marks(picture("mesh").layers["struts"]) if m.isdigit()]
    assert set(numbers) <= {"6", "5"}


def test_words_hide_no_other_words(picture):
    for name in ("mesh", "broken"):
        layer = picture(name).layers["struts"]
        boxes = []
        for x, y, size, text in re.findall(
            r'class="strut-mark" x="([\d.]+)" y="([\d.]+)" font-size="([\d.]+)">([^<]*)<', layer
        ):
            x, y, size = float(x), float(y), float(size)
            boxes.append((x, y - 0.8 * size, x + 0.5 * size * len(text), y))
        for i, a in enumerate(boxes):
            for b in boxes[:i]:
                assert a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]


def test_what_is_drawn_keeps_to_its_share_of_bytes(strut_records, strut_study):
    """Widths that change at every station: patches grow until it fits."""
    record = strut_records["mesh"]
    table = record.table("stations")
    kept = {n: table[n].copy() for n in ("width_px", "width_um")}
    uneven = np.random.default_rng(3).uniform(0.6, 1.0, len(kept["width_px"]))
    table |= {n: v * uneven for n, v in kept.items()}
    full = make_strut_picture(record, strut_study, 200_000).layers["struts"]
    small = make_strut_picture(record, strut_study, 9_000).layers["struts"]
    table |= kept
    ribbons = [len(re.search(r'<g class="strut-runs">(.*?)</g>', t).group(1)) for t in (full, small)]
    assert ribbons[1] <= 4_500 < ribbons[0]


def test_scale_bar_and_changed_file(picture, strut_records, strut_study, tmp_path):
    assert picture("plain").scale_words == "scale bar 20 µm"
    assert picture("unscaled").scale_words.startswith("scale unknown; bar ")
    (tmp_path / "struts").mkdir()
    cv2.imwrite(str(tmp_path / "struts" / "plain.png"), np.zeros((200, 240), np.uint8))
    with pytest.raises(InputError, match="changed since it was measured"):
        make_strut_picture(strut_records["plain"], tmp_path, 200_000)


def test_words_of_least_places(strut_records):
    """6 of 12 µm wide and 11 of 12 µm thick: 45.8 %; measured, so no bound."""
    assert least_width_words(strut_records["worst"]) == "5.00\u00a0µm"
    assert least_section_words(strut_records["notched"]) == "45.8\u00a0%"
    assert least_section_words(strut_records["plain"]) == "69.4\u00a0%"
    assert least_section_words(strut_records["unscaled"]) == ""
