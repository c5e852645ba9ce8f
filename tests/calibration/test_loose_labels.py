"""A label without a bar."""

import numpy as np

from surfscan.calibration.loose_labels import find_loose_labels


def test_found_along_the_edge(draw_bar):
    picture = draw_bar(np.full((400, 500), 120, np.uint8), "50 µm", row=390, length=0, box=None)
    (label, box), *_ = find_loose_labels(picture)
    assert label.text == "50 µm"
    assert box[0] > 330


def test_other_text_is_none(draw_bar):
    picture = draw_bar(np.full((400, 500), 120, np.uint8), "WD 10 mm", row=390, length=0, box=None)
    assert find_loose_labels(picture) == []
    assert find_loose_labels(np.full((400, 500), 120, np.float32)) == []
