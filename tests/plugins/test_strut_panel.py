"""The panel of struts without a screen: what it shows, both cursors, drags, saving, unsaved work."""

import shutil

import cv2
import numpy as np
import pytest

pytest.importorskip("napari", reason="the viewer extra is not installed")

from napari.components import ViewerModel
from napari_surfscan import session as sessions
from napari_surfscan.session import ReviewSession, session_of
from napari_surfscan.strut_layers import CENTRELINE, EDGES, PLACE, PURPLE, STATIONS, WIDTHS
from napari_surfscan.strut_panel import StrutPanel
from napari_surfscan.workers import run_at_once

from surfscan.store.corrections import corrections_of, unsaved_files
from surfscan.store.results import ResultsStore
from surfscan.study.batch import measure_study

MANIFEST = """
title = "Three bars (invented)"
[[group]]
name = "bars"
[[specimen]]
id = "B1"
group = "bars"
exposure_h = 24
drawn_strut_width_um = 15.0
drawn_thickness_um = 15.0
[[image]]
file = "bars.png"
specimen = "B1"
shows = "strut"
pixel_size_um = 0.5
"""


@pytest.fixture(scope="module")
def bars(tmp_path_factory, strut_picture):
    """A measured study with one picture of three bars, product on the second. Read only: copy it."""
    folder = tmp_path_factory.mktemp("bars") / "study"
    folder.mkdir()
    (folder / "study.toml").write_text(MANIFEST, encoding="utf-8")
    (folder / "bars.png").write_bytes(cv2.imencode(".png", strut_picture.pixels)[1].tobytes())
    measure_study(folder, workers=1)
    return folder


@pytest.fixture
def study(tmp_path, bars):
    return shutil.copytree(bars, tmp_path / "study")


@pytest.fixture
def open_panel(qtbot, monkeypatch):
    """Function that opens the panel in a viewer of its own, on a study or on nothing."""
    opened = []

    def make(folder=None):
        viewer = ViewerModel()
        session = ReviewSession(viewer, run_at_once)
        monkeypatch.setitem(sessions._sessions, viewer, session)
        panel = StrutPanel(viewer)
        qtbot.addWidget(panel)
        if folder is not None:
            session.open_study(folder)
        panel.viewer_model = viewer
        opened.append(panel)
        return panel

    yield make
    for panel in opened:
        panel.session.close_image()


def crash(panel):
    """What the system does when the program dies: its files are let go of, and nothing else happens."""
    panel.desk._keeper._journal.close()


@pytest.fixture
def panel(open_panel, study):
    return open_panel(study)


def mouse(panel, kind, row, col, button=1):
    """A mouse event of napari's at a place of the image."""

    class Event:
        pass

    event = Event()
    event.type, event.button, event.handled = kind, button, False
    event.position = panel.session.image_layer.data_to_world((row, col))
    event.pos = np.array([row, col])
    return event


def drag(panel, places):
    """Press, move and release over rows and columns, as napari hands them to a callback."""
    event = mouse(panel, "mouse_press", *places[0])
    steps = panel.layers._on_press(panel.viewer_model, event)
    next(steps)
    for place in places[1:]:
        moved = mouse(panel, "mouse_move", *place)
        event.type, event.position, event.pos = "mouse_move", moved.position, moved.pos
        next(steps, None)
    event.type = "mouse_release"
    next(steps, None)


def second_bar(panel):
    """Bring the bar with the product into view."""
    strut = next(k for k in panel.desk.struts if 110 < panel.desk.review.stations()["row_px"][
        panel.desk.review.stations()["strut"] == k].mean() < 125)  # fmt: skip
    panel.desk.choose(strut)
    return strut


def test_says_what_to_do_where_nothing_is_open(open_panel):
    """Words, no empty plots."""
    panel = open_panel()
    assert "Open a picture of struts" in panel.empty.text()
    assert panel.body.isHidden()
    assert panel.recovery.isHidden()


def test_opens_with_the_worst_strut(panel):
    """Figures with units and intervals, a plot, a legend with words, layers at the image's scale."""
    desk = panel.desk
    assert panel.empty.isHidden()
    assert panel.chosen.count() == 3
    assert desk.strut == desk.struts[0]
    assert panel.chosen.currentData() == desk.strut
    assert "µm" in panel.mean.text()
    assert panel.plot.axes.get_ylabel() == "Width (µm)"
    assert panel.legend.words[2].endswith("%)")
    assert panel.section.text().startswith("Section left: at most ")
    names = [layer.name for layer in panel.viewer_model.layers]
    assert names == ["image", CENTRELINE, STATIONS, EDGES, PLACE, WIDTHS]
    assert all(tuple(layer.scale) == (0.5, 0.5) for layer in panel.viewer_model.layers)


def test_widths_are_written_off_the_metal(panel):
    """Clear of both edges, within the picture, dark on light; still so after an edge was moved."""
    for _ in range(2):
        profile, image = panel.desk.profile, panel.desk.image
        layer = panel.viewer_model.layers[WIDTHS]
        assert sum(word.startswith("least ") for word in layer.features["width"]) == 1
        for row, col in layer.data:
            k = profile.nearest(row, col)
            away = np.hypot(profile.row[k] - row, profile.col[k] - col)
            assert away > 0.7 * profile.width[k] / image.calibration.pixel_size_x_um
        rows, cols = np.round(layer.data).astype(int).T
        light = image.grey[rows, cols] > 128
        assert light.any()
        inks = np.broadcast_to(layer.text.color.array[..., :3], (len(light), 3))
        assert [ink.sum() == 0 for ink in inks] == light.tolist()
        panel.desk.go_to(30)
        panel.desk.nudge("left", -2.0, None)


def test_cursor_goes_both_ways(panel):
    """A place on the plot shows on the image, a place on the image shows on the plot."""
    second_bar(panel)
    panel.plot.pointed.emit(40)
    profile = panel.desk.profile
    start, way = panel.viewer_model.layers[PLACE].data[0]
    assert start[1] + way[1] / 2 == pytest.approx(profile.col[40], abs=0.5)
    assert panel.place.text().startswith("At ")
    panel.layers._on_move(None, mouse(panel, "mouse_move", 121.0, profile.col[90]))
    assert panel.desk.place == panel.plot.place == 90
    panel.layers._on_move(None, mouse(panel, "mouse_move", 10.0, profile.col[5]))
    assert panel.desk.place == 90


def test_drag_takes_an_edge_off_product(panel):
    """By the mouse, in the mode for it: the width follows, shown as by hand; undo brings it back."""
    second_bar(panel)
    profile = panel.desk.profile
    k = profile.nearest(120, 180)
    was = profile.width[k]
    assert was == pytest.approx(19, abs=0.3)
    drag(panel, [(97, 180), (100, 180), (105, 180)])
    assert not panel.desk.review.moves, "outside the mode a drag moves the view"
    panel.moving.click()
    panel.taper.setValue(30)
    drag(panel, [(97, 180), (100, 180), (105, 180)])
    now = panel.desk.profile
    assert now.width[k] == pytest.approx(15, abs=0.3)
    assert now.by_hand[k]
    assert panel.viewer_model.scene.camera.mouse_pan
    colours = {tuple(c) for c in np.round(panel.viewer_model.layers[EDGES].edge_color[:, :3], 2).tolist()}
    purple = tuple(round(int(PURPLE[n : n + 2], 16) / 255, 2) for n in (1, 3, 5))
    assert purple in colours
    assert "1 drag:" in panel.save.changes.text()
    panel.undo.click()
    assert panel.desk.profile.width[k] == was
    assert "No edge has been moved" in panel.save.changes.text()
    panel.redo.click()
    assert panel.desk.profile.width[k] == now.width[k]


def test_drag_shows_what_it_would_give(panel):
    """While the mouse is down figures and edges follow, and nothing is kept."""
    second_bar(panel)
    desk = panel.desk
    handle = desk.review.handle(97, 180)
    before = panel.mean.text()
    desk.preview(handle, -8.0, 30.0)
    assert panel.mean.text() != before
    assert not desk.review.moves
    desk.forget_preview()
    assert panel.mean.text() == before


def test_keys_and_buttons_do_what_the_mouse_does(panel, qtbot):
    """Arrow keys walk along the strut; in and out move the chosen edge there by half a px."""
    from qtpy.QtCore import Qt

    second_bar(panel)
    panel.desk.go_to(50)
    qtbot.keyClick(panel.plot, Qt.Key.Key_Right)
    qtbot.keyClick(panel.plot, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    assert panel.desk.place == 61
    was = panel.desk.profile.width[61]
    panel.side.setCurrentIndex(1)
    panel.outwards.click()
    assert panel.desk.profile.width[61] == pytest.approx(was + 0.25)
    assert panel.desk.review.moves.moves[0].side == "right"
    panel.inwards.click()
    assert panel.desk.profile.width[61] == pytest.approx(was)


def test_click_brings_a_strut_into_view(panel):
    """A click, not a drag, on another bar."""
    panel.desk.choose(panel.desk.struts[0])
    for row in (50, 190):
        event = mouse(panel, "mouse_press", row - 8, 100)
        steps = panel.layers._on_press(panel.viewer_model, event)
        next(steps)
        event.type = "mouse_release"
        next(steps, None)
        assert panel.desk.profile.row.mean() == pytest.approx(row, abs=3)
        assert panel.chosen.currentData() == panel.desk.strut


def test_save_and_what_follows(panel, study):
    """With name and reason: a file beside the automatic result, a reviewed result with the dragged width."""
    second_bar(panel)
    panel.moving.click()
    panel.taper.setValue(30)
    drag(panel, [(97, 180), (105, 180)])
    panel.note.setText("product at the clamp")
    panel.note.editingFinished.emit()
    assert not panel.save.save.isEnabled()
    panel.save.reviewer.setText("A. Tester")
    panel.save.reason.setEditText("An edge followed product instead of metal")
    panel.save.save.click()
    assert panel.messages.words.text() == ""
    (saved,) = corrections_of(study)
    assert (saved.reviewer, saved.procedure) == ("A. Tester", "struts")
    assert saved.edits["note"] == "product at the clamp"
    assert saved.changes["station_count"] > 10
    stored = ResultsStore(study).of_image("bars.png")
    assert stored["struts_reviewed"].summary["mean_width_um"] < stored["struts"].summary["mean_width_um"]
    assert stored["struts_reviewed"].summary["mean_width_um"] == pytest.approx(
        panel.desk.review.result.summary["mean_width_um"]
    )
    assert panel.save.state.text().startswith("Saved.")


def test_saved_edges_are_there_at_the_next_start(open_panel, panel, study):
    """The correction in force is gone on from: moves and note."""
    test_save_and_what_follows(panel, study)
    again = open_panel(study)
    assert len(again.desk.review.moves.moves) == 1
    assert again.note.text() == "product at the clamp"
    assert not again.desk.has_unsaved


def test_unsaved_work_is_offered_after_a_crash(open_panel, panel, study):
    """Every edit is on the disk at once; taken up, it is as it was; let go, it is gone."""
    second_bar(panel)
    panel.moving.click()
    drag(panel, [(97, 180), (105, 180)])
    moves = panel.desk.review.moves
    assert len(unsaved_files(study)) == 1
    crash(panel)
    again = open_panel(study)
    assert "Unsaved work" in again.offer.text()
    again.recover.click()
    assert again.desk.review.moves == moves
    assert again.recovery.isHidden()
    crash(again)
    third = open_panel(study)
    third.drop.click()
    assert unsaved_files(study) == []
    assert not third.desk.review.moves


def test_edits_after_a_save_are_not_lost(open_panel, panel, study):
    """Saved, edited again, crashed: both the saved moves and the later one come back."""
    test_save_and_what_follows(panel, study)
    drag(panel, [(135, 60), (130, 60)])
    moves = panel.desk.review.moves
    assert len(moves.moves) == 2
    crash(panel)
    again = open_panel(study)
    assert len(again.desk.review.moves.moves) == 1
    assert "1 edit" in again.offer.text()
    again.recover.click()
    assert again.desk.review.moves == moves
    assert again.note.text() == "product at the clamp"


def test_files_to_take_along(panel, tmp_path):
    """A figure and a table of the strut in view; a bad name is refused in words."""
    panel.export(tmp_path / "strut.png", "figure")
    panel.export(tmp_path / "strut.csv", "table")
    assert (tmp_path / "strut.png").read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "strut.csv").read_text(encoding="utf-8").startswith("strut,")
    panel.export(tmp_path / "strut.doc", "figure")
    assert ".png or .svg" in panel.messages.words.text()


def test_another_image_takes_everything_away(panel):
    """Layers and figures go with the image."""
    panel.session.close_image()
    assert len(panel.viewer_model.layers) == 0
    assert panel.desk.review is None
    assert "No image is open" in panel.empty.text()


def test_themes(panel):
    """The plot follows the viewer's theme, and its lines can be told on either background."""
    dark = panel.plot.figure.get_facecolor()
    panel.viewer_model.theme = "light"
    light = panel.plot.figure.get_facecolor()
    assert sum(light[:3]) > sum(dark[:3]) + 1
    assert panel.plot.ink.reference == "#000000"


@pytest.mark.slow
def test_with_the_mouse_on_the_screen(real_viewer, qtbot, drag, click, study):
    """In the real viewer: a bar is clicked, an edge dragged off product, and the view stays where it was."""
    from napari_surfscan.session import session_of
    from qtpy.QtCore import Qt

    _, panel = real_viewer.window.add_plugin_dock_widget("surfscan", "Strut")
    session = session_of(real_viewer)
    session.open_study(study)
    qtbot.waitUntil(lambda: panel.desk.review is not None, timeout=30_000)
    qtbot.wait(200)
    click(real_viewer, session.image_layer, 185, 120)
    qtbot.waitUntil(lambda: abs(panel.desk.profile.row.mean() - 190) < 4, timeout=5_000)
    qtbot.mouseClick(panel.moving, Qt.MouseButton.LeftButton)
    centre = tuple(real_viewer.scene.camera.center)
    drag(real_viewer, session.image_layer, [(97, 180), (99, 180), (102, 180), (105, 180)])
    qtbot.waitUntil(lambda: len(panel.desk.review.moves.moves) == 1, timeout=5_000)
    move = panel.desk.review.moves.moves[0]
    assert move.offset_px == pytest.approx(-8, abs=1.5)
    assert tuple(real_viewer.scene.camera.center) == centre
    k = panel.desk.profile.nearest(120, 180)
    assert panel.desk.profile.width[k] == pytest.approx(15, abs=0.8)
    assert panel.desk.profile.by_hand[k]


@pytest.mark.slow
def test_closed_panel_leaves_nothing(real_viewer, study, qtbot):
    """Its layers go with it, and the next one draws them once."""
    session = session_of(real_viewer)
    session.open_study(study)
    kept = []
    for _ in range(2):
        dock, panel = real_viewer.window.add_plugin_dock_widget("surfscan", "Strut")
        kept.append(panel)  # it may live on
        qtbot.waitUntil(lambda panel=panel: panel.desk.review is not None, timeout=20000)
        assert [layer.name for layer in real_viewer.layers].count(EDGES) == 1
        assert len(real_viewer.layers) == 6
        real_viewer.window.remove_dock_widget(dock)
        assert len(real_viewer.layers) == 1
    assert session.current is not None
