"""Pictures of sections: cut to them, outlined, measured lines where the loss is."""

import re

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.report.records import gather
from surfscan.report.section_pictures import make_section_picture
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def pictures(reported_sections):
    records, _ = gather(load_study(reported_sections), ResultsStore(reported_sections).all())
    return {r.image_id: make_section_picture(r, reported_sections, 200_000) for r in records}


def boxes(layer):
    """Left, top, right and bottom of every label."""
    found = re.findall(r'class="sec-mark" x="([\d.]+)" y="([\d.]+)" font-size="([\d.]+)">([^<]*)<', layer)
    return [(float(x), float(y) - float(s), float(x) + 7 * len(text), float(y)) for x, y, s, text in found]


def test_original_and_metal_are_drawn_and_loss_is_tinted(pictures):
    layer = pictures["0.png"].layers["section"]
    assert layer.count('class="sec-original"') == layer.count('class="sec-metal"') == 1
    assert layer.count('class="sec-gone"') == 1
    assert layer.index("sec-gone") < layer.index("sec-metal") < layer.index("sec-original")


def test_original_outline_lies_where_it_was_drawn(pictures):
    picture = pictures["0.png"]
    (d,) = re.findall(r'<path id="original-1-\w+" class="line" d="M([^"]*)z"', picture.layers["section"])
    points = np.array([[float(v) for v in p.split()] for p in d.split("L")])
    zoom = picture.width / 194  # 160 px and a margin of 17 px on either side
    assert np.ptp(points, axis=0) == pytest.approx([160 * zoom, 120 * zoom], rel=0.02)


def test_greatest_and_ligament_are_measured_and_letters_match(pictures):
    layer = pictures["0.png"].layers["section"]
    assert ">greatest 11.0 µm</text>" in layer
    assert re.search(r">ligament 100(\.\d)? µm</text>", layer)
    assert re.findall(r'class="sec-letter"[^>]*>(\w)<', layer) == list("ABCD")


def test_labels_neither_cover_one_another_nor_leave_the_picture(pictures):
    for picture in pictures.values():
        found = boxes(picture.layers["section"])
        assert found
        for k, (x0, y0, x1, y1) in enumerate(found):
            assert x0 >= 0 and y0 >= 0 and x1 <= picture.width and y1 <= picture.height
            assert not any(x0 < b[2] and b[0] < x1 and y0 < b[3] and b[1] < y1 for b in found[:k])


def test_sections_of_one_picture_have_numbers(pictures):
    layer = pictures["1.png"].layers["section"]
    assert layer.count('class="sec-original"') == 2
    assert re.findall(r'text-anchor="middle">(\d)<', layer) == ["1", "2"]


def test_foil_has_letters_and_its_least_thickness_but_no_original(pictures):
    layer = pictures["5.png"].layers["section"]
    assert 'class="sec-original"' not in layer
    assert re.search(r">least 9[78](\.\d)? µm</text>", layer)
    assert re.findall(r'class="sec-letter"[^>]*>(\w)<', layer) == list("ABCDE")


def test_without_a_scale_the_bar_is_in_px(pictures):
    assert pictures["4.png"].scale_words.startswith("scale unknown")
    assert " px</text>" in pictures["4.png"].layers["section"]


def test_layers_stay_small(pictures):
    assert max(len(p.layers["section"]) for p in pictures.values()) < 12_000


def test_changed_file_is_not_shown(reported_sections, tmp_path):
    records, _ = gather(load_study(reported_sections), ResultsStore(reported_sections).all())
    (tmp_path / "0.png").write_bytes(cv2.imencode(".png", np.zeros((180, 220), np.uint8))[1].tobytes())
    with pytest.raises(InputError, match="changed since it was measured"):
        make_section_picture(records[0], tmp_path, 200_000)
