"""The scale of an image: as it was read, corrected by mouse and keys, confirmed with a name."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from napari.components import ViewerModel
from napari_surfscan.placing import layer_of
from napari_surfscan.scale_layers import ENDS, LINE
from napari_surfscan.scale_panel import ScalePanel
from napari_surfscan.session import ReviewSession, _sessions, session_of
from napari_surfscan.workers import run_at_once
from qtpy.QtCore import Qt

from surfscan import opening
from surfscan.calibration.bar_scale import read_scale
from surfscan.images import HeightMap
from surfscan.opening import open_image
from surfscan.procedures import scale
from surfscan.store.corrections import corrections_of
from surfscan.study.manifest import load_study
from surfscan.study.remembered import read_remembered
from surfscan.study.reviews import open_for_review

BARS = ((200, 40, 120, "50 µm"), (60, 200, 160, ""))
MANIFEST = """
title = "Bars (all invented)"
[[group]]
name = "plates"
[[specimen]]
id = "B1"
group = "plates"
[[image]]
file = "bars.png"
specimen = "B1"
procedures = ["pits"]
"""


@pytest.fixture
def study(tmp_path, draw_bar):
    """A study of one picture with two bars: one of 120 px labelled 50 µm, one of 160 px without a label."""
    rng = np.random.default_rng(4)
    grey = np.clip(rng.normal(120, 4, (260, 420)), 0, 255).astype(np.uint8)
    for row, col, length, label in BARS:
        grey = draw_bar(grey, label, row=row, col=col, length=length)
    folder = tmp_path / "bars"
    folder.mkdir()
    (folder / "bars.png").write_bytes(cv2.imencode(".png", grey)[1].tobytes())
    (folder / "study.toml").write_text(MANIFEST, encoding="utf-8")
    return folder


@pytest.fixture
def panel(qtbot):
    viewer = ViewerModel()
    _sessions[viewer] = ReviewSession(viewer, run_at_once)
    shown = ScalePanel(viewer)
    shown.viewer_of_test = viewer  # sessions do not keep their viewer alive
    qtbot.addWidget(shown)
    shown.resize(360, 800)
    shown.show()
    return shown


@pytest.fixture(scope="module")
def readings():
    """Bars as they were read, by picture: character recognition takes its time."""
    return {}


@pytest.fixture(autouse=True)
def _read_once(readings, monkeypatch):
    """The same picture is read once, however often it is opened or measured."""

    def read(pixels, **options):
        key = (pixels.tobytes(), repr(sorted(options.items())))
        if key not in readings:
            readings[key] = read_scale(pixels, **options)
        return readings[key]

    monkeypatch.setattr(opening, "read_scale", read)
    monkeypatch.setattr(scale, "read_scale", read)


def _press(qtbot, button):
    qtbot.wait(10)  # until the panel is laid out
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)


def _write(qtbot, line, text):
    line.clear()
    qtbot.keyClicks(line, text)
    qtbot.keyClick(line, Qt.Key.Key_Return)


def test_without_an_image_it_says_what_to_do(panel):
    """Nothing open: what to do, and nothing to press."""
    assert "Choose one in Study" in panel.empty.text()
    assert not panel.confirm.isVisible()


def test_height_map_has_no_bar(panel, demo_folder):
    """Heights bring their scale along."""
    image = open_image(demo_folder / "heights" / "U28-1_h1.x3p")
    assert isinstance(image, HeightMap)
    panel.session.viewer.add_image(image.heights_um, **layer_of(image)[1])
    assert "height map" in panel.empty.text()


def test_reading_is_shown_with_ends_and_label(panel, study):
    """The bar that was read, drawn where it lies, with the pixel size that follows and what is in force."""
    panel.session.open_study(study)
    viewer = panel.session.viewer
    assert panel.label.text() == "50 µm"
    np.testing.assert_allclose(viewer.layers[ENDS].data[:, 1], (39.5, 159.5), atol=0.3)
    assert viewer.layers[LINE].features["label"].tolist() == ["50 µm"]
    assert viewer.layers[LINE].scale[-1] == viewer.layers["image"].scale[-1]
    assert "0.41" in panel.now.text()
    assert "µm per pixel" in panel.now.text()
    assert "ends" in panel.uncertainty.text()
    assert "In force" in panel.against.text()


def test_label_corrected(panel, study, qtbot):
    """Twice the label, twice the pixel size; nonsense is said and gives none."""
    panel.session.open_study(study)
    before = panel.result.calibration.pixel_size_x_um
    _write(qtbot, panel.label, "100 µm")
    assert panel.result.calibration.pixel_size_x_um == pytest.approx(2 * before)
    _write(qtbot, panel.label, "100 pm")
    assert panel.result is None
    assert "not a length" in panel.now.text()
    assert not panel.confirm.isEnabled()
    _press(qtbot, panel.again)
    assert panel.result.calibration.pixel_size_x_um == pytest.approx(before)


def test_ends_nudged_by_button_and_key(panel, study, qtbot):
    """A quarter of a pixel a press; the end is a hand's from then on."""
    panel.session.open_study(study)
    start, end = panel.ends.col_start_px, panel.ends.col_end_px
    _press(qtbot, panel.back)
    _press(qtbot, panel.right)
    for _ in range(2):
        _press(qtbot, panel.forth)
    assert panel.ends.col_start_px == pytest.approx(start - 0.25)
    assert panel.ends.col_end_px == pytest.approx(end + 0.5)
    assert "by hand" in panel.result.calibration.origin
    points = panel.session.viewer.layers[ENDS]
    np.testing.assert_allclose(points.data[:, 1], (start - 0.25, end + 0.5))


def test_end_dragged(panel, study):
    """An end moved on the image moves the bar; one that was deleted comes back."""
    panel.session.open_study(study)
    points = panel.session.viewer.layers[ENDS]
    points.data = np.array([points.data[0], [points.data[1][0], 179.5]])
    assert panel.ends.col_end_px == 179.5
    assert panel.right.isChecked()
    points.data = points.data[:1]
    assert len(panel.session.viewer.layers[ENDS].data) == 2


def test_signing_needs_a_name(panel, study, qtbot):
    """No name, no record."""
    panel.session.open_study(study)
    _press(qtbot, panel.confirm)
    assert "Write your name" in panel.messages.words.text()
    assert not (study / "corrections").exists()


def test_confirmed_scale_is_kept_and_used(panel, study, qtbot):
    """The confirmed pixel size stands in the record with its bar, and the image opens with it."""
    panel.session.open_study(study)
    _write(qtbot, panel.label, "100 µm")
    _write(qtbot, panel.reviewer, "A. Tester")
    _write(qtbot, panel.reason, "label misprinted")
    size = panel.result.calibration.pixel_size_x_um
    _press(qtbot, panel.confirm)
    ((saved,),) = (found["scale"] for found in corrections_of(study).by_image.values())
    assert (saved.reviewer, saved.reason) == ("A. Tester", "label misprinted")
    assert saved.edits["decision"] == "confirmed"
    assert saved.edits["bar_label"] == "100 µm"
    opened = open_for_review(load_study(study), "bars.png")
    assert opened.image.calibration.pixel_size_x_um == pytest.approx(size)
    assert "A. Tester" in panel.file.text()
    assert panel.session.viewer.layers["image"].scale[-1] == pytest.approx(size)
    assert read_remembered(study).reviewer == "A. Tester"


def test_loose_image_takes_a_scale_for_now(panel, study):
    """Outside a study there is no record to sign: the scale holds as long as the image is open."""
    image = replace(open_image(study / "bars.png"), calibration=None)
    data, keywords, _ = layer_of(image)
    layer = panel.session.viewer.add_image(data, **keywords)
    assert "Not known" in panel.file.text()
    assert not panel.reject.isVisible()
    assert "as long as the image is open" in panel.confirm.toolTip()
    size = panel.result.calibration.pixel_size_x_um
    panel.confirm.click()
    assert tuple(layer.scale) == pytest.approx((size, size))
    assert "50 µm" in panel.file.text()
    assert not list(study.glob("corrections/*"))


@pytest.mark.slow
def test_another_bar_by_a_real_click(real_viewer, study, qtbot, click, drag):
    """In the real viewer: press 'Choose a bar', click the other one, drag its end, nudge it by key."""
    session = session_of(real_viewer)
    _, panel = real_viewer.window.add_plugin_dock_widget("surfscan", "Scale")
    session.open_study(study)
    qtbot.waitUntil(lambda: panel.ends is not None, timeout=20000)
    qtbot.mouseClick(panel.choose, Qt.MouseButton.LeftButton)
    click(real_viewer, session.image_layer, 62, 280)
    qtbot.waitUntil(lambda: panel.ends is not None and panel.ends.row_px < 100)
    assert panel.ends.length_px == pytest.approx(160, abs=1)
    assert not panel.choose.isChecked()
    points = real_viewer.layers[ENDS]
    real_viewer.layers.selection.active = points
    row, end = panel.ends.row_px, panel.ends.col_end_px
    drag(real_viewer, points, [(row, end), (row, end + 5), (row, end + 12)])
    assert panel.ends.col_end_px == pytest.approx(end + 12, abs=2)
    before = panel.ends.col_end_px
    native = real_viewer.window._qt_viewer.canvas.native
    native.setFocus()
    qtbot.keyClick(native, Qt.Key.Key_Right)
    assert panel.ends.col_end_px == pytest.approx(before + 0.25)


def test_behind_another_panel_nothing_is_read_or_drawn(panel, study):
    """Hidden, it neither reads bars nor draws them; brought to the front it does."""
    panel.hide()
    panel.session.open_study(study)
    assert panel.result is None
    assert [layer.name for layer in panel.session.viewer.layers] == ["image"]
    panel.show()
    assert panel.label.text() == "50 µm"
    assert ENDS in panel.session.viewer.layers
    panel.hide()
    assert ENDS not in panel.session.viewer.layers
    panel.show()
    assert LINE in panel.session.viewer.layers


def test_rejected_bar_gives_no_scale(panel, study, qtbot):
    """A bar that somebody rejected counts no longer: the image stands in pixels, and the record says who."""
    panel.session.open_study(study)
    assert panel.session.current.image.calibration is not None
    _write(qtbot, panel.reviewer, "A. Tester")
    _write(qtbot, panel.reason, "the picture was resized")
    _press(qtbot, panel.reject)
    ((saved,),) = (found["scale"] for found in corrections_of(study).by_image.values())
    assert saved.edits["decision"] == "rejected"
    assert panel.session.current.image.calibration is None
    assert "Not known" in panel.file.text()
    assert str(panel.session.viewer.layers["image"].units[0]) == "pixel"
