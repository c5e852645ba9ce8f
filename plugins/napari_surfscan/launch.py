"""The viewer with a study open: what `surfscan review` starts, and what a dropped study does."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QDockWidget

if TYPE_CHECKING:
    import napari

PLUGIN = "surfscan"
STUDY = "Study"
PANEL_WIDTH_PX = 380
PANELS = ("Pits and masks", "Strut", "Depth along a line", "Scale")
"""Panels docked on the right, the first in front."""


def review(path: str | Path, image_id: str = "") -> None:
    """Open the viewer on a study and stay until it is closed.

    Parameters
    ----------
    path : str or Path
        A study.toml or its folder.
    image_id : str
        Image to begin with; empty, the one that was open last.
    """
    import napari

    viewer = napari.Viewer(title="surfscan")
    show_panels(viewer)
    show_study(viewer, path, image_id)
    napari.run()


def show_panels(viewer: napari.Viewer) -> None:
    """Dock every panel: the study on the left, the others on the right, tabbed."""
    _dock_study(viewer)
    docks: list[QDockWidget] = []
    for name in available():
        if name == STUDY:
            continue
        dock, _ = viewer.window.add_plugin_dock_widget(PLUGIN, name)
        _arrange(dock, Qt.DockWidgetArea.RightDockWidgetArea, docks[0] if docks else None)
        docks.append(dock)
    if docks:
        docks[0].parent().resizeDocks(docks, [PANEL_WIDTH_PX] * len(docks), Qt.Orientation.Horizontal)
        docks[0].raise_()
    viewer.canvas.overlays.scale_bar.visible = True


def available() -> list[str]:
    """Panels that the manifest names, in our order."""
    from npe2 import PluginManager

    manifest = PluginManager.instance().get_manifest(PLUGIN)
    named = [widget.display_name for widget in manifest.contributions.widgets or ()]
    return [name for name in (STUDY, *PANELS) if name in named]


def show_study(viewer: napari.Viewer, path: str | Path, image_id: str = "") -> None:
    """Open a study in the viewer's session, with the study panel in view."""
    from napari_surfscan.session import session_of

    _dock_study(viewer)
    session_of(viewer).open_study(path, image_id)


def _dock_study(viewer: napari.Viewer) -> None:
    dock, _ = viewer.window.add_plugin_dock_widget(PLUGIN, STUDY)
    layers = dock.parent().findChild(QDockWidget, "layer list")
    _arrange(dock, Qt.DockWidgetArea.LeftDockWidgetArea, layers)
    dock.show()
    dock.raise_()


def _arrange(dock: QDockWidget, area: Qt.DockWidgetArea, beside: QDockWidget | None) -> None:
    """Put a dock in its area, as a tab beside another, once; later it stays where it was moved."""
    if dock.property("arranged"):
        return
    main = dock.parent()
    main.addDockWidget(area, dock)
    if beside is not None:
        main.tabifyDockWidget(beside, dock)
    dock.setWindowTitle(dock.windowTitle().removesuffix(f" ({PLUGIN})"))  # tabs are narrow
    dock.setProperty("arranged", True)
