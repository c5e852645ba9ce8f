"""The panel of depths without a screen: a line, what follows from it, both cursors, files."""

import numpy as np
import pytest

pytest.importorskip("napari", reason="the viewer extra is not installed")

from napari.components import ViewerModel
from napari_surfscan import session as sessions
from napari_surfscan.depth_panel import LINE, PLACE, DepthPanel
from napari_surfscan.placing import layer_of
from napari_surfscan.session import ReviewSession
from napari_surfscan.workers import run_at_once

from surfscan.images import Calibration, HeightMap, Micrograph, Source


@pytest.fixture
def panel(qtbot, monkeypatch):
    viewer = ViewerModel()
    session = ReviewSession(viewer, run_at_once)
    monkeypatch.setitem(sessions._sessions, viewer, session)
    panel = DepthPanel(viewer)
    qtbot.addWidget(panel)
    panel.viewer_model = viewer
    return panel


@pytest.fixture
def cone():
    """A map of 0.5 x 0.25 µm with a cone 12 µm deep, its mouth 60 columns wide."""
    rows, cols = np.mgrid[:160, :200].astype(float)
    depth = np.maximum(12 * (1 - np.hypot(rows - 80, cols - 100) / 30), 0)
    heights = (np.random.default_rng(0).normal(0, 0.01, rows.shape) - depth).astype(np.float32)
    return HeightMap(heights, Calibration(0.5, 0.25, 0.01, "stated"), Source("cone.npy"))


def show(panel, image):
    data, keywords, _ = layer_of(image)
    panel.viewer_model.add_image(data, **keywords)


def test_says_what_to_do(panel, cone):
    """Nothing open; a picture; a height map."""
    assert "Open a height map" in panel.empty.text()
    assert panel.body.isHidden()
    show(panel, Micrograph(np.full((40, 40), 90, np.uint8), None, Source("grey.png")))
    assert "no depth" in panel.empty.text()
    show(panel, cone)
    assert "Draw a line" in panel.empty.text()
    assert not panel.body.isHidden()


def test_line_gives_depth_and_width(panel, cone):
    """Drawn as napari draws a line; µm with oblong pixels right; both exports."""
    show(panel, cone)
    panel.draw.click()
    layer = panel.viewer_model.layers[LINE]
    assert str(layer.mode) == "add_line"
    assert tuple(layer.scale) == (0.25, 0.5)
    layer.add_lines(np.array([[80.0, 30.0], [80.0, 170.0]]))
    assert panel.profile.deepest_um == pytest.approx(12, abs=0.2)
    assert panel.profile.width == pytest.approx(30, abs=0.5)
    assert "Width at the reference" in panel.figures.text()
    assert "µm" in panel.figures.text()
    layer.add_lines(np.array([[50.0, 100.0], [110.0, 100.0]]))
    assert panel.profile.distance[-1] == pytest.approx(15)


def test_across_the_deepest(panel, cone, tmp_path):
    """One press; cursor both ways; files."""
    show(panel, cone)
    panel.across.click()
    assert panel.profile.row[0] == 80
    panel.plot.pointed.emit(100)
    spot = panel.viewer_model.layers[PLACE].data[0]
    assert spot == pytest.approx([80, 100])
    assert "depth 12" in panel.place.text()

    class Event:
        position = panel.session.image_layer.data_to_world((80, 60))

    panel._on_move(None, Event())
    assert panel.viewer_model.layers[PLACE].data[0] == pytest.approx([80, 60])
    panel.export(tmp_path / "line.svg", "figure")
    panel.export(tmp_path / "line.csv", "table")
    assert len((tmp_path / "line.csv").read_text().splitlines()) == 201
    panel.export(tmp_path / "line.xls", "table")
    assert ".csv" in panel.messages.words.text()


def test_map_without_heights_is_refused_in_words(panel):
    """No reference, no crash."""
    show(panel, HeightMap(np.full((60, 60), np.nan, np.float32), None, Source("empty.npy")))
    assert "no reference" in panel.empty.text()
    assert panel.messages.words.text()


def test_closing_takes_the_line_away(panel, cone):
    """Layers go with the image."""
    show(panel, cone)
    panel.across.click()
    panel.session.close_image()
    assert len(panel.viewer_model.layers) == 0
    assert panel.profile is None


@pytest.mark.slow
def test_line_drawn_with_the_mouse(real_viewer, qtbot, drag, cone):
    """In the real viewer: the button, then a drag across the pit."""
    from napari_surfscan.session import session_of
    from qtpy.QtCore import Qt

    _, panel = real_viewer.window.add_plugin_dock_widget("surfscan", "Depth along a line")
    data, keywords, _ = layer_of(cone)
    real_viewer.add_image(data, **keywords)
    qtbot.waitUntil(lambda: panel.reference is not None, timeout=30_000)
    qtbot.mouseClick(panel.draw, Qt.MouseButton.LeftButton)
    drag(real_viewer, session_of(real_viewer).image_layer, [(80, 30), (80, 60), (80, 120), (80, 170)])
    qtbot.waitUntil(lambda: panel.profile is not None, timeout=5_000)
    assert panel.profile.deepest_um == pytest.approx(12, abs=0.7)
    assert panel.profile.distance[-1] == pytest.approx(70, abs=3)
    assert panel.profile.width == pytest.approx(30, abs=2)


def test_colours_have_their_heights(panel, cone):
    """The bar says what the colours of the map stand for, in µm, and follows the layer controls."""
    show(panel, cone)
    layer = panel.viewer_model.layers[0]
    assert panel.legend.words[0].startswith("≤ −")
    assert all(word.endswith(" µm") for word in panel.legend.words)
    layer.contrast_limits = (-12.5, 1.5)
    assert panel.legend.words == ("−12.5 µm", "−5.5 µm", "1.5 µm")


def test_map_with_too_little_says_so(panel):
    """No fault of ours: four points have no reference."""
    show(panel, HeightMap(np.zeros((2, 2), np.float32), None, Source("tiny.npy")))
    assert "no depth" in panel.empty.text()
    assert "Something went wrong" not in panel.messages.words.text()
    assert panel.messages.words.text()


def test_another_layer_while_a_line_is_wanted(panel, cone):
    """It has the mouse then: the button does not go on asking for a line."""
    show(panel, cone)
    panel.draw.click()
    line = panel.viewer_model.layers[LINE]
    assert panel.draw.isChecked()
    panel.viewer_model.add_labels(np.zeros((8, 8), int), name="pits")
    assert not panel.draw.isChecked()
    assert panel.draw.text() == "Draw a line"
    assert str(line.mode) == "direct"
    panel.draw.click()
    assert panel.viewer_model.layers.selection.active is line
    assert str(line.mode) == "add_line"
