"""Take the pictures of the viewer's panels for README.md, on a copy of the measured demo study.

    make demo && for size in 1366x768 1920x1080; do
      xvfb-run -a -s "-screen 0 ${size}x24" .venv/bin/python docs/take_viewer_pictures.py $size
    done

Needs the viewer extra and a screen of that size, real or virtual.
"""

import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import matplotlib
import napari
import numpy as np
from napari_surfscan import launch
from napari_surfscan.session import session_of
from PIL import Image, ImageDraw, ImageFont
from qtpy.QtWidgets import QApplication

HERE = Path(__file__).resolve().parent
DEMO = Path(sys.argv[2]) if len(sys.argv) > 2 else HERE.parent / "demo"
PICTURES = HERE / "pictures"
SURFACE = "images/U28-1_b.ome.tif"
HEIGHTS = "heights/U28-1_h5.x3p"
STRUT = "struts/U28-2_strut.jpg"
BAR_UM, UM_PER_PX = 50, 0.6
BAR_STUDY = """
title = "A picture with its scale bar (invented)"
[[group]]
name = "uncoated 28 d"
[[specimen]]
id = "U28-1"
group = "uncoated 28 d"
[[image]]
file = "U28-1_bar.png"
specimen = "U28-1"
procedures = ["pits"]
"""
PATIENCE_S = 120


def until(so: Callable[[], object]) -> None:
    """Let the viewer work until something is so."""
    end = time.monotonic() + PATIENCE_S
    while not so():
        QApplication.processEvents()
        if time.monotonic() > end:
            raise TimeoutError("the viewer did not get there")
        time.sleep(0.01)


def rest(seconds: float = 0.7) -> None:
    """Let the viewer draw."""
    end = time.monotonic() + seconds
    until(lambda: time.monotonic() > end)


def study_with_bar(folder: Path) -> Path:
    """A study of one demo picture into which a scale bar is drawn, as microscopes do."""
    grey = cv2.imread(str(DEMO / SURFACE), cv2.IMREAD_GRAYSCALE)
    length = round(BAR_UM / UM_PER_PX)
    rows, cols = grey.shape
    grey[rows - 52 : rows - 8, cols - length - 34 : cols - 8] = 0
    grey[rows - 18 : rows - 14, cols - length - 21 : cols - 21] = 255
    font = ImageFont.truetype(str(Path(matplotlib.get_data_path(), "fonts", "ttf", "DejaVuSans.ttf")), 18)
    picture = Image.fromarray(grey)
    ImageDraw.Draw(picture).text((cols - length - 8, rows - 47), f"{BAR_UM} µm", fill=255, font=font)
    folder.mkdir()
    picture.save(folder / "U28-1_bar.png")
    (folder / "study.toml").write_text(BAR_STUDY, encoding="utf-8")
    return folder


def well_inside(review, pit: int) -> bool:
    """Whether a pit lies in the middle of its picture."""
    row, shape = review.row(pit), review.labels.shape
    return all(
        0.3 < float(row[name]) / side < 0.7 for name, side in zip(("row_px", "col_px"), shape, strict=True)
    )


class Camera:
    """One viewer window of a given size, and its pictures."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self.viewer = napari.Viewer(title="surfscan")
        self.viewer.window.resize(width, height)
        launch.show_panels(self.viewer)
        self.session = session_of(self.viewer)

    def panel(self, name: str):
        """A panel by its name, brought to the front."""
        dock, panel = self.viewer.window.add_plugin_dock_widget(launch.PLUGIN, name)
        dock.raise_()
        return panel

    def open(self, study: Path, image_id: str) -> None:
        """Open an image, and wait for it and for all states."""
        launch.show_study(self.viewer, study, image_id)
        until(lambda: self.session.current is not None and self.session.current.entry.image_id == image_id)
        until(lambda: self.session.items)

    def take(self, name: str) -> None:
        """Write a picture of the whole window with few colours."""
        rest()
        taken = self.viewer.screenshot(canvas_only=False, flash=False)[..., :3]
        if taken.shape[:2] != (self.height, self.width):
            raise ValueError(f"the window is {taken.shape[1]} x {taken.shape[0]}, not as asked")
        small = Image.fromarray(np.ascontiguousarray(taken)).quantize(
            256, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE
        )
        small.save(PICTURES / f"{name}_{self.width}x{self.height}.png", optimize=True)


def take_all(camera: Camera, folder: Path) -> None:
    """One picture of each panel with something in it."""
    study = folder / "demo"
    pits = camera.panel("Pits and masks")
    rest()
    camera.take("viewer_empty")
    camera.open(study, SURFACE)
    until(lambda: pits.desk.editing is not None)
    rest()
    editing = pits.desk.editing
    shown = [pit for pit in editing.open_doubts() if well_inside(editing.review, pit)][:4]
    for pit, act in zip(shown, ("reject", "unsure", "reject", "accept"), strict=True):
        editing.select([pit])
        pits.pits.act(act)
    camera.viewer.scene.camera.zoom *= 2
    camera.take("viewer_pits")
    for _ in shown:
        editing.undo()
    camera.viewer.reset_view()
    camera.panel("Strut")
    camera.open(study, STRUT)
    strut = camera.panel("Strut")
    until(lambda: strut.desk.struts)
    camera.take("viewer_strut")
    depth = camera.panel("Depth along a line")
    camera.open(study, HEIGHTS)
    depth = camera.panel("Depth along a line")
    until(lambda: depth.reference is not None)
    depth.line_across_the_deepest()
    until(lambda: depth.profile is not None)
    camera.take("viewer_depth")
    scale = camera.panel("Scale")
    camera.open(study_with_bar(folder / "bar"), "U28-1_bar.png")
    until(lambda: scale.result is not None)
    camera.panel("Scale")
    camera.take("viewer_scale")
    camera.viewer.close()


def main(size: str) -> None:
    """Write the pictures of one size, such as 1366x768."""
    width, height = (int(side) for side in size.split("x"))
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(DEMO, Path(folder) / "demo")
        (Path(folder) / "demo" / "review.toml").unlink(missing_ok=True)
        take_all(Camera(width, height), Path(folder))


if __name__ == "__main__":
    main(sys.argv[1])
