"""Settings tried on the visible part: the newest win, and the screen stays free."""

import threading
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from napari.components import ViewerModel
from napari_surfscan.preview import (
    LARGEST_PX,
    PREVIEW,
    LatestWins,
    Preview,
    cropped,
    measure_part,
    result_in_words,
    visible_box,
)
from napari_surfscan.session import ReviewSession, loose
from napari_surfscan.workers import run, run_at_once

from surfscan.images import HeightMap, Source
from surfscan.procedures.settings import PitSettings


def test_cropping_keeps_scale_and_moves_what_was_drawn_over(pitted):
    """A part is an image of the same scale, and a scale bar in it stays where it lies."""
    image = replace(pitted, overlays=((10, 30, 20, 60), (150, 160, 200, 220)))
    part = cropped(image, (20, 100, 40, 140))
    assert part.shape == (80, 100)
    assert part.calibration == image.calibration
    assert part.overlays == ((0, 10, 0, 20),)
    heights = HeightMap(np.arange(12.0).reshape(3, 4), None, Source("made"))
    assert cropped(heights, (1, 3, 2, 4)).heights_um.tolist() == [[6, 7], [10, 11]]


@pytest.mark.parametrize(
    ("corners", "shape", "box"),
    [
        (((10, 20), (109, 219)), (500, 500), (10, 110, 20, 220)),
        (((-50, -50), (600, 700)), (500, 400), (0, 500, 0, 400)),
        (((0, 0), (4095, 4095)), (4096, 4096), (1024, 3072, 1024, 3072)),
        (((100, 100), (109, 109)), (500, 500), (46, 164, 46, 164)),
    ],
)
def test_visible_part(corners, shape, box):
    """Cut at the picture's edges, to its middle where large, and widened where tiny."""
    layer = SimpleNamespace(corner_pixels=np.array(corners), multiscale=False)
    found = visible_box(layer, shape)
    assert found == box
    assert max(found[1] - found[0], found[3] - found[2]) <= LARGEST_PX


def test_visible_part_of_a_pyramid_is_in_full_pixels():
    """Corners come in pixels of the level that is shown."""
    layer = SimpleNamespace(
        corner_pixels=np.array([(10, 10), (59, 99)]),
        multiscale=True,
        downsample_factors=np.array([(1, 1), (4, 4)]),
        data_level=1,
    )
    assert visible_box(layer, (1000, 1000)) == (40, 237, 40, 397)


def test_the_newest_wins_and_only_one_runs(qtbot):
    """Of five askings while one runs, the last alone follows; the result of the first is dropped."""
    go = threading.Event()
    ran, shown = [], []
    latest = LatestWins(run, delay_ms=1)
    latest.done.connect(shown.append)

    def work(k):
        ran.append(k)
        if k == 0:
            assert go.wait(10)
        return k

    latest.ask(lambda: work(0))
    qtbot.waitUntil(lambda: ran == [0])
    for k in range(1, 6):
        latest.ask(lambda k=k: work(k))
    qtbot.wait(30)
    assert ran == [0]
    go.set()
    qtbot.waitUntil(lambda: shown == [5])
    assert ran == [0, 5]
    assert not latest.is_busy


def test_stopping_drops_what_runs_and_faults_are_told(qtbot):
    """Nothing is shown after a stop; an error reaches the panel."""
    latest = LatestWins(run, delay_ms=1)
    shown, faults = [], []
    latest.done.connect(shown.append)
    latest.failed.connect(faults.append)
    latest.ask(lambda: 1)
    latest.stop()
    qtbot.wait(30)
    assert not shown
    latest.ask(lambda: 1 / 0)
    qtbot.waitUntil(lambda: bool(faults))
    assert isinstance(faults[0], ZeroDivisionError)
    assert not latest.is_busy


def test_a_try_is_outlined_where_it_was_tried(qtbot, pitted):
    """The layer lies at the visible part's place, says how many, and goes when the preview ends."""
    viewer = ViewerModel()
    session = ReviewSession(viewer, run_at_once)
    session.show(loose(pitted))
    session.image_layer.corner_pixels = np.array([(0, 100), (199, 239)])
    preview = Preview(session)
    said = []
    preview.said.connect(said.append)
    preview.ask("pits", PitSettings())
    qtbot.waitUntil(lambda: PREVIEW in viewer.layers)
    layer = viewer.layers[PREVIEW]
    assert layer.data.shape == (200, 140)
    assert tuple(layer.translate) == (0, 50)
    assert layer.data[40, 20] == 1
    assert said[-1] == "Tried on the visible part: 3 pits there."
    preview.ask("pits", PitSettings(min_diameter_px=19))
    qtbot.waitUntil(lambda: said[-1] == "Tried on the visible part: 1 pit there.")
    preview.stop()
    assert PREVIEW not in viewer.layers


def test_words_for_a_share(pitted):
    """A degraded share is told with its interval."""
    result = measure_part("degraded", pitted, None)
    assert result_in_words("degraded", result).endswith("% of it degraded.")
