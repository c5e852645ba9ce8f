"""How large the page of a large study is, how long it takes to write, and how fast a browser opens it.

What: seconds of `write_report`; megabytes of report.html; in headless Chromium, from asking for the file to
the load event and to the first contentful paint, the smallest and the median of --repeat openings, each in a
new tab. Also the seconds until a picture in the middle of the page is drawn after jumping there. On what:
--specimens specimens with --images images in all, spread evenly, of the kinds of the demo study. The demo
study is measured once; its pictures and results then stand under new names, so that every picture, outline
and row of a table is real, but none is measured twice.

    python benchmarks/bench_page.py [--specimens 200] [--images 2000] [--repeat 5] [--keep FOLDER]
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import statistics
import tempfile
import time
from collections.abc import Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from surfscan.demo import copy_study
from surfscan.procedures.result import Result
from surfscan.report.build import write_report
from surfscan.report.pdf import find_browser
from surfscan.store.results import ResultsStore, StoredResult
from surfscan.study.batch import measure_study
from surfscan.study.manifest import ImageEntry, Study, load_study
from surfscan.study.tasks import fingerprint, settings_for

LIMIT_S, LIMIT_MB = 2.0, 60.0
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
_OPENED = """() => { const n = performance.getEntriesByType('navigation')[0],
    p = performance.getEntriesByName('first-contentful-paint')[0];
    return [n.loadEventEnd / 1000, p ? p.startTime / 1000 : null]; }"""

_JUMP = """() => { const all = document.querySelectorAll('.specimen');
    window.jumped = all[all.length >> 1].querySelector('.waiting').parentNode; jumped.scrollIntoView(); }"""


@dataclass(frozen=True)
class Opened:
    """Seconds from asking for the page to its load event, and to its first contentful paint."""

    loaded_s: float
    painted_s: float


def many_specimens(folder: Path, demo: Path, specimens: int, images: int) -> Path:
    """A study of many specimens with stored results, made of those of a measured demo study.

    Parameters
    ----------
    folder : Path
        Where to put it.
    demo : Path
        A demo study, measured.
    specimens, images : int

    Returns
    -------
    Path
        Its folder.
    """
    study = load_study(demo)
    stored: dict[str, list[StoredResult]] = {}
    for result in ResultsStore(demo).all():
        stored.setdefault(result.image_id, []).append(result)
    usable = [i for i in study.images if set(i.companions()) == set() and i.image_id in stored]
    lines = ['title = "Many specimens"', 'note = "All data invented."']
    groups = [f"group {k + 1}" for k in range(max(1, specimens // 20))]
    lines += [line for name in groups for line in ("[[group]]", f'name = "{name}"')]
    per = images // specimens
    chosen: list[tuple[ImageEntry, str]] = []
    for k in range(specimens):
        owner = study.specimen(usable[k * per % len(usable)].specimen)
        lines += ["[[specimen]]", f'id = "S{k + 1:03d}"', f'group = "{groups[k % len(groups)]}"']
        lines += [f"exposure_h = {owner.exposure_h:g}", "surface_area_mm2 = 412"]
        lines += ["drawn_strut_width_um = 400", "drawn_thickness_um = 300"]
        for n in range(per):
            image = usable[(k * per + n) % len(usable)]
            name = f"images/S{k + 1:03d}_{n + 1:02d}{Path(image.file).suffix}"
            chosen.append((image, name))
            lines += ["[[image]]", f'file = "{name}"', f'specimen = "S{k + 1:03d}"']
            lines += [f'shows = "{image.shows}"', f'condition = "{image.condition}"']
            lines += ['field_choice = "systematic"']
            if image.pixel_size_um is not None:
                lines.append(f"pixel_size_um = {list(image.pixel_size_um)}")
    (folder / "images").mkdir(parents=True)
    (folder / "study.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    many = load_study(folder)
    _store(many, [(demo / image.file, stored[image.image_id]) for image, _ in chosen])
    return folder


def _store(many: Study, sources: Sequence[tuple[Path, list[StoredResult]]]) -> None:
    """Put the files and results in place of what measuring would have given."""
    store = ResultsStore(many.folder)
    masks: dict[tuple[str, str, str], np.ndarray] = {}
    for entry, (file, results) in zip(many.images, sources, strict=True):
        try:
            os.link(file, many.folder / entry.file)
        except OSError:
            shutil.copyfile(file, many.folder / entry.file)
        for result in results:
            if result.source is None or result.procedure not in entry.procedures:
                continue
            own = {}
            for name in result.mask_paths:
                key = (result.image_id, result.procedure, name)
                if key not in masks:
                    masks[key] = result.read_mask(name)
                own[name] = masks[key]
            mark = fingerprint(
                entry, result.procedure, settings_for(many, entry, result.procedure), result.source.sha256, {}
            )
            source = replace(result.source, path=str(many.folder / entry.file))
            copy = Result(
                result.procedure,
                source,
                result.calibration,
                dict(result.settings),
                dict(result.summary),
                dict(result.tables),
                own,
                result.warnings,
            )
            store.save(entry.image_id, entry.specimen, mark, copy)


@contextmanager
def opened_browser():
    """The installed browser, without a window."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(find_browser()), args=list(QUIET))
        yield browser
        browser.close()


def open_times(browser, page: Path, repeat: int) -> list[Opened]:
    """How fast a browser opens a page, each time in a new tab."""
    out = []
    for _ in range(repeat):
        tab = browser.new_page(viewport={"width": 1366, "height": 768})
        tab.goto(page.as_uri(), wait_until="load")
        tab.wait_for_function("performance.getEntriesByName('first-contentful-paint').length > 0")
        out.append(Opened(*tab.evaluate(_OPENED)))
        tab.close()
    return out


def jump_time(browser, page: Path) -> float:
    """Seconds until a picture in the middle of the page stands there after jumping to its specimen."""
    tab = browser.new_page(viewport={"width": 1366, "height": 768})
    tab.goto(page.as_uri(), wait_until="load")
    start = time.perf_counter()
    tab.evaluate(_JUMP)
    tab.wait_for_function("jumped.querySelector('image') !== null")
    tab.evaluate("async () => { const i = new Image(); i.src = jumped.querySelector('image').href.baseVal;"
                 " await i.decode(); }")  # fmt: skip
    seconds = time.perf_counter() - start
    tab.close()
    return seconds


def main() -> None:
    """Make the study, write its page, open it, and say how long all of it took."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--specimens", type=int, default=200)
    parser.add_argument("--images", type=int, default=2000)
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--keep", type=Path, help="make the study here, a new folder, and leave it there")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        place = options.keep or Path(scratch)
        demo = copy_study(place / "demo").parent
        measure_study(demo)
        start = time.perf_counter()
        folder = many_specimens(place / "many", demo, options.specimens, options.images)
        print(f"Python {platform.python_version()}, {os.cpu_count()} processors; study made in "
              f"{time.perf_counter() - start:.0f} s")  # fmt: skip
        start = time.perf_counter()
        outcome = write_report(folder)
        print(f"report written: {time.perf_counter() - start:.1f} s")
        size = outcome.page.stat().st_size / 1e6
        print(f"report.html: {size:.1f} MB (at most {LIMIT_MB:g})")
        with opened_browser() as browser:
            times = open_times(browser, outcome.page, options.repeat)
            jump = jump_time(browser, outcome.page)
        for name in ("loaded_s", "painted_s"):
            seconds = [getattr(t, name) for t in times]
            least, middle = min(seconds), statistics.median(seconds)
            print(f"{name}: min {least:.2f}, median {middle:.2f} (at most {LIMIT_S:g})")
        print(f"picture after a jump to the middle: {jump:.2f} s")


if __name__ == "__main__":
    main()
