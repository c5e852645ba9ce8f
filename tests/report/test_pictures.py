"""Pictures with what was found drawn on them."""

import base64
import re
import xml.etree.ElementTree as ElementTree

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.report import drawing, pictures
from surfscan.report.pictures import make_picture
from surfscan.report.records import gather
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def records(study_folder):
    return {r.image_id: r for r in gather(load_study(study_folder), ResultsStore(study_folder).all())[0]}


def decode(picture):
    raw = base64.b64decode(picture.data_uri.removeprefix("data:image/webp;base64,"))
    return cv2.imdecode(np.frombuffer(raw, np.uint8), cv2.IMREAD_UNCHANGED)


def path_of(layer, name):
    """The path of a kind: drawn by itself, or defined for its two strokes."""
    found = re.search(f'<path (?:class="{name}"|id="{name}-[0-9a-f]+" class="line") d="([^"]*)"/>', layer)
    return found[1] if found else ""


def corners(path):
    """Corners of closed polygons given as M x y l dx dy ..."""
    found = []
    for part in path.split("M")[1:]:
        numbers = np.array(re.findall(r"-?[\d.]+(?:e-\d+)?", part), dtype=float).reshape(-1, 2)
        found.append(np.cumsum(numbers, axis=0))
    return found


def test_picture_and_layers(records, study_folder):
    picture = make_picture(records["images/03.png"], study_folder, 200_000)
    assert decode(picture).shape[:2] == (300, 400)
    assert (picture.width, picture.height) == (400, 300)
    assert set(picture.layers) == {"pits", "degraded"}
    pits = picture.layers["pits"]
    assert path_of(pits, "pit").count("M") == 9  # 12 pits, 3 of them near a limit
    assert path_of(pits, "near").count("M") == 3
    assert pits.count('class="near-mark"') == 3
    assert path_of(pits, "review").count("M") == 1
    assert pits.count('class="review-mark"') == 1
    assert path_of(picture.layers["degraded"], "degraded").count("M") == 1
    ElementTree.fromstring(f"<svg>{pits}{picture.layers['degraded']}{picture.scale_bar}</svg>")


def test_degraded_area_covers_its_share(records, study_folder):
    layer = make_picture(records["images/05.png"], study_folder, 200_000).layers["degraded"]
    (points,) = corners(path_of(layer, "degraded"))
    area = cv2.contourArea(points.astype(np.float32).reshape(-1, 1, 2))
    assert area / (300 * 400) == pytest.approx(0.22, abs=0.01)


def test_scale_bar_is_as_long_as_it_says(records, study_folder):
    picture = make_picture(records["images/03.png"], study_folder, 200_000)
    assert picture.scale_words == "scale bar 20 µm"
    assert float(re.search(r"h([\d.]+)", picture.scale_bar)[1]) == pytest.approx(40)  # 0.5 µm per pixel


def test_unknown_scale_has_a_bar_in_pixels(records, study_folder):
    picture = make_picture(records["images/11.png"], study_folder, 200_000)
    assert picture.scale_words == "scale unknown; bar 50 px of the file"
    assert "µm" not in picture.scale_bar


def test_size_aimed_at_is_kept(records, study_folder):
    generous = make_picture(records["images/03.png"], study_folder, 200_000)
    tight = make_picture(records["images/03.png"], study_folder, 8_000)
    assert len(tight.data_uri) < len(generous.data_uri)


def test_large_picture_is_reduced_with_its_layers(records, study_folder, monkeypatch):
    monkeypatch.setattr(drawing, "_WIDTHS", (200,))
    picture = make_picture(records["images/03.png"], study_folder, 1)
    assert decode(picture).shape[:2] == (150, 200)
    assert path_of(picture.layers["pits"], "pit").count("M") == 9


def test_changed_file_is_not_shown(records, study_folder):
    path = study_folder / "images" / "03.png"
    path.write_bytes(cv2.imencode(".png", np.zeros((300, 400), np.uint8))[1].tobytes())
    with pytest.raises(InputError, match="changed since it was measured"):
        make_picture(records["images/03.png"], study_folder, 200_000)


def test_lost_mask_is_named(records, study_folder):
    records["images/03.png"].results["pits"].mask_paths["pits"].unlink()
    with pytest.raises(InputError, match="mask is missing"):
        make_picture(records["images/03.png"], study_folder, 200_000)


def test_deep_pixels_are_stretched_and_unrecorded_ones_dark():
    deep = np.linspace(1000, 3000, 10_000, dtype=np.float32).reshape(100, 100)
    deep[0, 0] = np.nan
    small = pictures.eight_bit(deep)
    assert small.dtype == np.uint8
    assert (small[0, 0], small[-1, -1]) == (0, 255)
    assert pictures.eight_bit(np.full((3, 3), np.nan, np.float32)).max() == 0
    assert pictures.eight_bit(np.full((3, 3), 7, np.uint16)).max() == 0
