"""The real viewer for tests, on a real or a virtual screen, with its mouse and keys."""

import os
import sys
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path

import pytest

NEEDS_SCREEN = ("CI", "SURFSCAN_NEEDS_SCREEN")
"""Where one of these is set, a test that finds no screen fails instead of being passed over."""

REQUIRED = any(os.environ.get(name) for name in NEEDS_SCREEN)
if find_spec("napari") is None and not REQUIRED:  # without the viewer extra there is nothing to test here
    collect_ignore_glob = ["test_*.py"]


def _require_screen() -> None:
    missing = ""
    if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
        missing = "no display: run under xvfb-run (make test does)"
    if missing and REQUIRED:
        pytest.fail(missing)
    if missing:
        pytest.skip(missing)


@pytest.fixture
def make_viewer(qtbot, tmp_path, monkeypatch) -> Iterator[Callable]:
    """Function that opens a viewer with settings of its own; closed at the end, when its workers are done."""
    _require_screen()
    monkeypatch.setenv("NAPARI_CONFIG", str(tmp_path / "napari-settings.yaml"))
    from napari import Viewer
    from napari._qt.qthreading import wait_for_workers_to_quit

    opened = []

    def make() -> Viewer:
        viewer = Viewer(show=True)
        viewer.window.resize(1366, 768)
        opened.append(viewer)
        return viewer

    yield make
    wait_for_workers_to_quit()
    for viewer in opened:
        if viewer in Viewer._instances:
            viewer.close()
    qtbot.wait(20)


@pytest.fixture
def real_viewer(make_viewer):
    """A napari viewer on the screen."""
    return make_viewer()


@pytest.fixture
def canvas_point() -> Callable:
    """Function that gives the place on the canvas widget of a row and column of a layer, as a QPoint."""
    from qtpy.QtCore import QPoint

    def place(viewer, layer, row: float, col: float) -> QPoint:
        y, x = layer.data_to_world((row, col))[-2:]
        canvas = viewer.window._qt_viewer.canvas
        scene = canvas.view.scene.node_transform(canvas.view.canvas.scene)
        at = scene.map([x, y, 0, 1])
        return QPoint(round(at[0] / at[3]), round(at[1] / at[3]))

    return place


@pytest.fixture
def click(qtbot, canvas_point) -> Callable:
    """Function that clicks with the mouse on a row and column of a layer."""
    from qtpy.QtCore import Qt

    def press(viewer, layer, row: float, col: float, button=Qt.MouseButton.LeftButton) -> None:
        native = viewer.window._qt_viewer.canvas.native
        at = canvas_point(viewer, layer, row, col)
        qtbot.mouseMove(native, at)
        qtbot.mouseClick(native, button, pos=at)

    return press


@pytest.fixture
def drag(qtbot, canvas_point) -> Callable:
    """Function that drags with the mouse over rows and columns of a layer."""
    from qtpy.QtCore import QEvent, QPointF, Qt
    from qtpy.QtGui import QMouseEvent
    from qtpy.QtWidgets import QApplication

    def along(viewer, layer, places) -> None:
        native = viewer.window._qt_viewer.canvas.native
        points = [canvas_point(viewer, layer, *place) for place in places]
        left, none = Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton
        qtbot.mouseMove(native, points[0])
        qtbot.mousePress(native, left, pos=points[0])
        for point in points[1:]:
            event = QMouseEvent(
                QEvent.Type.MouseMove,
                QPointF(point),
                QPointF(native.mapToGlobal(point)),
                none,
                left,
                Qt.KeyboardModifier.NoModifier,
            )
            QApplication.sendEvent(native, event)
            qtbot.wait(10)
        qtbot.mouseRelease(native, left, pos=points[-1])

    return along


@pytest.fixture(scope="session")
def demo_folder() -> Path:
    """The demo study as it is shipped, not measured. Read only."""
    from surfscan.demo import sample_folder

    return sample_folder()


SMALL_STUDY = ("C28-1", "U28-1")


@pytest.fixture(scope="session")
def small_study(tmp_path_factory, demo_folder) -> Path:
    """Two specimens of the demo study with a surface picture each, measured. Read only: copy it."""
    import shutil

    from surfscan.study.batch import measure_study

    folder = tmp_path_factory.mktemp("study") / "demo"
    (folder / "images").mkdir(parents=True)
    text = ['title = "Two plates (all invented)"', '[[group]]\nname = "plates"']
    for specimen in SMALL_STUDY:
        file = f"images/{specimen}_b.ome.tif"
        shutil.copyfile(demo_folder / file, folder / file)
        text += [
            f'[[specimen]]\nid = "{specimen}"\ngroup = "plates"\nexposure_h = 672',
            f'[[image]]\nfile = "{file}"\nspecimen = "{specimen}"\nprocedures = ["pits"]',
        ]
    (folder / "study.toml").write_text("\n".join(text) + "\n", encoding="utf-8")
    measure_study(folder, workers=1)
    return folder


@pytest.fixture
def study(tmp_path, small_study) -> Path:
    """A measured copy of that study, to work in."""
    import shutil

    return Path(shutil.copytree(small_study, tmp_path / "study"))


@pytest.fixture
def pitted():
    """A small picture of six dark round pits on 200 x 240 px, two of them touching, and no file."""
    import numpy as np

    from surfscan.images import Calibration, Micrograph, Source

    rng = np.random.default_rng(0)
    rows, cols = np.mgrid[:200, :240]
    grey = 180 + rng.normal(0, 2, rows.shape)
    for row, col, radius in (
        (40, 40, 12),
        (40, 120, 9),
        (110, 50, 14),
        (110, 76, 14),
        (160, 150, 7),
        (60, 200, 10),
    ):
        grey[(rows - row) ** 2 + (cols - col) ** 2 <= radius**2] = 60
    pixels = np.clip(grey, 0, 255).astype(np.uint8)
    return Micrograph(pixels, Calibration(0.5, 0.5, 0.01, "made so"), Source("made.tif", "0" * 64))
