"""The viewer with its panels in place, and a study by dropping it."""

import pytest
from napari_surfscan import launch
from napari_surfscan.session import session_of
from qtpy.QtCore import Qt
from qtpy.QtWidgets import QDockWidget

pytestmark = pytest.mark.slow

IMAGE = "images/C28-1_b.ome.tif"


def _docks(viewer):
    """Our docks by the name of their panel, with the window that holds them."""
    dock, _ = viewer.window.add_plugin_dock_widget("surfscan", "Study")
    main = dock.parent()
    found = main.findChildren(QDockWidget)
    return main, {
        d.objectName().removesuffix(" (surfscan)"): d for d in found if "surfscan" in d.objectName()
    }


def test_panels_stand_in_their_places(real_viewer, qtbot):
    """Study on the left beside the layer list, all others on the right as tabs; none is wider than 380 px."""
    launch.show_panels(real_viewer)
    qtbot.wait(50)
    main, docks = _docks(real_viewer)
    assert set(docks) == set(launch.available()) == {launch.STUDY, *launch.PANELS}
    assert main.dockWidgetArea(docks["Study"]) == Qt.DockWidgetArea.LeftDockWidgetArea
    assert main.findChild(QDockWidget, "layer list") in main.tabifiedDockWidgets(docks["Study"])
    right = [docks[name] for name in launch.PANELS]
    assert {main.dockWidgetArea(dock) for dock in right} == {Qt.DockWidgetArea.RightDockWidgetArea}
    assert len(main.tabifiedDockWidgets(right[0])) == len(right) - 1
    assert max(dock.minimumSizeHint().width() for dock in docks.values()) <= 380
    assert (main.width(), main.height()) == (1366, 768)
    assert real_viewer.canvas.overlays.scale_bar.visible


def test_dock_stays_where_it_was_moved(real_viewer):
    """Opening a study again does not drag a panel back."""
    launch.show_panels(real_viewer)
    main, docks = _docks(real_viewer)
    main.addDockWidget(Qt.DockWidgetArea.RightDockWidgetArea, docks["Study"])
    launch.show_study(real_viewer, "nowhere")
    assert main.dockWidgetArea(docks["Study"]) == Qt.DockWidgetArea.RightDockWidgetArea


def test_dropped_study_opens_in_the_panel(real_viewer, qtbot, study):
    """A folder that holds a study.toml, opened as napari opens what is dropped on it."""
    real_viewer.window._qt_viewer._qt_open([str(study)], stack=False, plugin="surfscan")
    session = session_of(real_viewer)
    qtbot.waitUntil(lambda: session.current is not None and bool(session.items), timeout=20000)
    assert session.current.entry.image_id == IMAGE
    assert [layer.name for layer in real_viewer.layers if layer.name == "image"] == ["image"]


def test_review_opens_panels_and_study(monkeypatch, make_viewer, qtbot, study):
    """What the command starts: a viewer with every panel and the study; it stays until closed."""
    import napari

    made = []
    monkeypatch.setattr(napari, "Viewer", lambda **options: made.append(make_viewer()) or made[-1])
    stayed = []
    monkeypatch.setattr(napari, "run", lambda: stayed.append(True))
    launch.review(study, "images/U28-1_b.ome.tif")
    (viewer,) = made
    session = session_of(viewer)
    qtbot.waitUntil(lambda: session.current is not None, timeout=20000)
    assert session.current.entry.image_id == "images/U28-1_b.ome.tif"
    assert stayed == [True]
