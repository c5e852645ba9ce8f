"""How fast the viewer answers: the tally after one edit, and the first image of the demo study.

What: seconds from the press of a button until the panel has the new figures, until they are on the screen
(the window is drawn as one, so that this holds a drawing of the picture), and until the picture is at rest;
and from the start of the program to the first image of a study. How: a real napari viewer of 1366 x 768 px
with its panels and the whole field in view; each edit rejects another pit and is taken back again; the start
is timed in a fresh process. Least, median and most are given. On what: a seeded picture with 5000 round pits
on 4096 x 4096 px, and the demo study as it is shipped. It takes a display (under Linux xvfb-run gives one;
OpenGL is then drawn in software, and drawing takes far longer than on a graphics card).

    xvfb-run -a -s "-screen 0 1400x900x24" python benchmarks/bench_viewer.py [--size 4096] [--pits 5000]
        [--repeat 20] [--starts 3]
"""

from __future__ import annotations

import argparse
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import napari
from bench_tally import make
from napari._qt.qthreading import wait_for_workers_to_quit
from napari_surfscan import launch
from napari_surfscan.session import session_of
from qtpy.QtWidgets import QApplication

from surfscan.demo import sample_folder
from surfscan.study.batch import measure_study

FIRST = "images/U28-1_b.ome.tif"
FIELD = "field.png"
_PATIENCE_S = 300
_AT_REST_S = 0.3
"""A picture that has not been drawn again for so long is done."""


def until(so: Callable[[], bool]) -> None:
    """Let the viewer go on until something is so."""
    end = time.monotonic() + _PATIENCE_S
    while not so():
        QApplication.processEvents()
        if time.monotonic() > end:
            raise TimeoutError(f"not so after {_PATIENCE_S} s")


def opened(study: Path, image: str) -> napari.Viewer:
    """A viewer with its panels that has begun to open an image of a study."""
    viewer = napari.Viewer()
    viewer.window.resize(1366, 768)
    launch.show_panels(viewer)
    launch.show_study(viewer, study, image)
    return viewer


def draws(viewer: napari.Viewer) -> list[float]:
    """A list that takes the time of every drawing of the picture."""
    times: list[float] = []
    canvas = viewer.window._qt_viewer.canvas._scene_canvas
    canvas.events.draw.connect(lambda _: times.append(time.perf_counter()), position="last")
    return times


def start(study: Path) -> None:
    """Open the first image, and say on the way what is seen: for a process of its own."""
    viewer = opened(study, FIRST)
    drawn = draws(viewer)
    until(lambda: session_of(viewer).current is not None and "image" in viewer.layers)
    drawn.clear()
    until(lambda: bool(drawn))
    print("image", flush=True)
    wait_for_workers_to_quit()
    viewer.close()


def started(study: Path) -> float:
    """Seconds from the start of a process to its first image."""
    begin = time.perf_counter()
    child = [sys.executable, __file__, "--start", str(study)]
    with subprocess.Popen(child, stdout=subprocess.PIPE, text=True) as process:
        seen = process.stdout.readline().strip()
        took = time.perf_counter() - begin
    if seen != "image" or process.returncode:
        raise RuntimeError(f"the viewer has shown no image: it ended with {process.returncode}")
    return took


def field_study(folder: Path, size: int, pits: int) -> None:
    """A study of one measured picture of round pits."""
    cv2.imwrite(str(folder / FIELD), make(size, pits, heights=False).pixels)
    (folder / "study.toml").write_text(
        'title = "A field (all invented)"\n[[group]]\nname = "plates"\n'
        '[[specimen]]\nid = "P1"\ngroup = "plates"\nexposure_h = 24\n'
        f'[[image]]\nfile = "{FIELD}"\nspecimen = "P1"\nprocedures = ["pits"]\npixel_size_um = 0.5\n',
        encoding="utf-8",
    )
    measure_study(folder, workers=1)


def edits(viewer: napari.Viewer, panel: Any, repeat: int) -> dict[str, tuple[list[float], ...]]:
    """Seconds of rejecting and taking back: until figures are there, on the screen, and all is drawn."""
    until(lambda: panel.desk.editing is not None and panel.desk.editing.review.prepared)
    editing, drawn = panel.desk.editing, draws(viewer)
    took: dict[str, tuple[list[float], ...]] = {"reject": ([], [], []), "undo": ([], [], [])}
    for pit in sorted(editing.review.status)[:: max(1, len(editing.review.status) // repeat)][:repeat]:
        editing.select([pit])
        for name, (there, figures, picture) in took.items():
            rest = time.perf_counter() + 1
            until(lambda end=rest: time.perf_counter() > end)
            drawn.clear()
            before, begin = panel.tally.text(), time.perf_counter()
            panel.pits.buttons[name].click()
            there.append(time.perf_counter() - begin)
            panel.tally.repaint()
            figures.append(time.perf_counter() - begin)
            if panel.tally.text() == before:
                raise RuntimeError(f"the figures have not followed: {name} of pit {pit}")
            until(lambda: bool(drawn) and time.perf_counter() > drawn[-1] + _AT_REST_S)
            picture.append(max(drawn[-1] - begin, figures[-1]))
    return took


def line(name: str, seconds: list[float]) -> str:
    """Least, median and most."""
    least, middle, most = min(seconds), statistics.median(seconds), max(seconds)
    return f"{name:34}{1e3 * least:9.1f} ms{1e3 * middle:9.1f} ms{1e3 * most:9.1f} ms"


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--size", type=int, default=4096)
    parser.add_argument("--pits", type=int, default=5000)
    parser.add_argument("--repeat", type=int, default=20)
    parser.add_argument("--starts", type=int, default=3)
    parser.add_argument("--start", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.start:
        start(asked.start)
        return
    with tempfile.TemporaryDirectory() as place:
        demo = Path(shutil.copytree(sample_folder(), Path(place) / "demo"))
        field = Path(place) / "field"
        field.mkdir()
        field_study(field, asked.size, asked.pits)
        print(f"{platform.python_version()}, {platform.machine()}, napari {napari.__version__}")
        print(f"{'':34}{'least':>12}{'median':>12}{'most':>12}")
        print(line("start to first image of the demo", [started(demo) for _ in range(asked.starts)]))
        viewer = opened(field, FIELD)
        _, panel = viewer.window.add_plugin_dock_widget(launch.PLUGIN, launch.PANELS[0])
        for name, (there, figures, picture) in edits(viewer, panel, asked.repeat).items():
            print(line(f"{name}: panel has the figures", there))
            print(line(f"{name}: figures on the screen", figures))
            print(line(f"{name}: picture at rest", picture))
        pits = len(panel.desk.editing.review.status)
        print(f"on {asked.size} x {asked.size} px with {pits} pits")
        viewer.close()


if __name__ == "__main__":
    main()
