"""Pictures of height maps."""

import base64
import re

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.report.height_pictures import deepest_pit, make_height_picture
from surfscan.report.records import gather
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def records(height_folder):
    return {r.image_id: r for r in gather(load_study(height_folder), ResultsStore(height_folder).all())[0]}


def decode(picture):
    raw = base64.b64decode(picture.data_uri.removeprefix("data:image/webp;base64,"))
    return cv2.cvtColor(cv2.imdecode(np.frombuffer(raw, np.uint8), cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)


def test_heights_are_cividis_and_gaps_grey(records, height_folder):
    picture = make_height_picture(records["maps/03.npy"], height_folder, 200_000)
    shown = decode(picture).astype(int)
    assert shown.shape == (200, 240, 3)
    assert (picture.width, picture.height) == (590, 492)  # enlarged on the page, not in the file
    metal, pit, gap = shown[120, 120], shown[20, 60], shown[190, 230]
    assert metal[0] > 180 and metal[0] > metal[2] + 60  # the bright end
    assert pit.max() < 120 and pit[2] > pit[0]  # the dark end
    assert np.abs(gap - 190).max() < 8


def test_colour_bar_spans_the_heights(records, height_folder):
    bar = make_height_picture(records["maps/03.npy"], height_folder, 200_000).colours
    assert bar.low.startswith("−8") and float(bar.high) < 0.7
    assert 90 < bar.zero_percent < 99


def test_gaps_are_hatched_and_pits_outlined_and_the_deepest_marked(records, height_folder):
    layer = make_height_picture(records["maps/03.npy"], height_folder, 200_000).layers["heights"]
    assert layer.count('class="outside"') == 1
    assert layer.count('class="pit"') == 1
    assert ">no. 2</text>" in layer
    x, y = (
        float(v)
        for v in re.search(r'class="deepest" d="M([\d.]+) [\d.]+h12.0M[\d.]+ ([\d.]+)v', layer).groups()
    )
    zoom = 590 / 240
    assert x == pytest.approx(60.5 * zoom - 6, abs=1.5)
    assert y == pytest.approx(20.5 * zoom - 6, abs=1.5)


def test_deepest_pit_is_a_lower_bound_where_depths_are_equal(records):
    record = records["maps/03.npy"]
    assert deepest_pit(record) == 1
    table = record.table("pits")
    table["depth_um"][:] = 5.0
    table["depth_is_lower_bound"][:] = [False, False, True]
    assert deepest_pit(record) == 2
    assert deepest_pit(records["maps/00.npy"]) is None


def test_map_with_texture_only_is_drawn_without_outlines(records, height_folder):
    record = records["maps/03.npy"]
    del record.results["pits"]
    layer = make_height_picture(record, height_folder, 200_000).layers["heights"]
    assert "deepest" not in layer and 'class="pit"' not in layer
    assert 'class="outside"' in layer


def test_changed_file_is_not_shown(records, height_folder):
    np.save(height_folder / "maps" / "03.npy", np.zeros((200, 240), np.float32))
    with pytest.raises(InputError, match="changed since it was measured"):
        make_height_picture(records["maps/03.npy"], height_folder, 200_000)


def test_unscaled_map_has_a_bar_in_pixels(records, height_folder):
    picture = make_height_picture(records["maps/09.npy"], height_folder, 200_000)
    assert picture.scale_words == "scale unknown; bar 20 px of the file"
