"""A real viewer on a real (or virtual) screen: micrograph and labels at scale, and something to see."""

import os
import subprocess
import sys

import numpy as np
import pytest

pytestmark = pytest.mark.slow

SCALE_UM = 0.5
PIT_ROWS, PIT_COLS = slice(100, 140), slice(160, 240)


@pytest.fixture
def viewer(real_viewer):
    """A napari viewer on the screen."""
    return real_viewer


def _micrograph() -> tuple[np.ndarray, np.ndarray]:
    labels = np.zeros((300, 400), np.int32)
    labels[PIT_ROWS, PIT_COLS] = 1
    grey = np.full(labels.shape, 190, np.uint8)
    grey[labels > 0] = 50
    return grey, labels


def test_viewer_shows_micrograph_and_labels(viewer):
    """Both layers stand at the same physical scale and the screenshot shows the pit where it lies."""
    grey, labels = _micrograph()
    place = {"scale": (SCALE_UM, SCALE_UM), "units": ("um", "um"), "axis_labels": ("y", "x")}
    image = viewer.add_image(grey, name="micrograph", contrast_limits=(0, 255), **place)
    layer = viewer.add_labels(labels, name="pits", **place)
    viewer.canvas.overlays.scale_bar.visible = True
    assert [str(unit) for unit in image.units] == ["micrometer", "micrometer"]
    assert np.allclose(
        layer.extent.world[1] - layer.extent.world[0], (300 * SCALE_UM, 400 * SCALE_UM), atol=1
    )

    layer.visible = False
    without = viewer.screenshot(canvas_only=True, flash=False)[..., :3].astype(int)
    layer.visible = True
    with_labels = viewer.screenshot(canvas_only=True, flash=False)[..., :3].astype(int)
    assert without.std() > 10, "the canvas is blank"
    changed = np.abs(with_labels - without).max(axis=-1) > 10
    assert changed.any(), "the labels do not show"
    dark = (without.max(axis=-1) > 30) & (without.max(axis=-1) < 80)
    assert (changed & dark).sum() > 0.95 * changed.sum(), "the labels lie elsewhere than the pit"


def test_whole_window_is_drawn(viewer):
    """The window with its controls is more than one flat colour."""
    viewer.add_image(_micrograph()[0], name="micrograph")
    window = viewer.screenshot(canvas_only=False, flash=False)
    assert len(np.unique(window.reshape(-1, window.shape[-1]), axis=0)) > 50


def test_plugin_package_loads_without_a_screen():
    """The plugin package is importable where there is no screen, and loads neither Qt nor napari."""
    code = "import napari_surfscan, sys; print({'napari', 'PySide6', 'qtpy'} & set(sys.modules))"
    environment = {k: v for k, v in os.environ.items() if k not in {"DISPLAY", "WAYLAND_DISPLAY"}}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environment)
    assert done.stdout.strip() == "set()", done.stderr
