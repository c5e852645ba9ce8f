"""A whole session with real mouse and keys: open, reject, split, paint, save, reopen; the report follows."""

import csv
import os
import subprocess
import sys
import time

import numpy as np
import pytest
from napari_surfscan import launch
from napari_surfscan.session import session_of
from qtpy.QtCore import Qt
from qtpy.QtWidgets import QLabel, QLineEdit, QPushButton, QWidget

from surfscan.report.build import write_report
from surfscan.store.corrections import corrections_of, read_correction_mask
from surfscan.study.batch import measure_study

pytestmark = pytest.mark.slow

IMAGE = "images/U28-1_b.ome.tif"
OTHER = "images/C28-1_b.ome.tif"
PATIENCE_MS = 30000


class Desk:
    """The viewer with its panels, as a person at the desk sees it."""

    def __init__(self, viewer, qtbot, study):
        self.viewer, self.qtbot = viewer, qtbot
        viewer.window.resize(1366, 768)
        launch.show_panels(viewer)
        _, self.panel = viewer.window.add_plugin_dock_widget("surfscan", "Pits and masks")
        launch.show_study(viewer, study, IMAGE)
        self.session = session_of(viewer)
        self.wait(lambda: self.panel.desk.editing is not None)

    def wait(self, so):
        self.qtbot.waitUntil(so, timeout=PATIENCE_MS)
        self.qtbot.wait(50)  # until it is drawn

    def find(self, kind, name) -> QWidget:
        found = self.panel.findChild(kind, name)
        assert found is not None, name
        return found

    def press(self, name):
        button = self.find(QPushButton, name)
        self.wait(lambda: button.isVisible() and button.isEnabled())
        self.qtbot.mouseClick(button, Qt.MouseButton.LeftButton)

    def key(self, key, modifier=Qt.KeyboardModifier.NoModifier):
        native = self.viewer.window._qt_viewer.canvas.native
        native.setFocus()
        self.qtbot.keyClick(native, key, modifier)

    @property
    def review(self):
        return self.panel.desk.editing.review

    @property
    def pits(self):
        return self.viewer.layers["pits"]

    def count_shown(self) -> int:
        """Number of pits that the panel shows."""
        names = {label.text(): label for label in self.panel.findChildren(QLabel) if label.isVisible()}
        place = names["Pits"].objectName().rpartition("_")[2]
        return int(self.find(QLabel, f"tally_value_{place}").text().split()[0])

    def chosen(self, number):
        """Some large pits well inside the picture and apart: label, row and column of each."""
        rows = self.review.rows()
        shape = self.review.labels.shape
        inside = (
            (rows["row_px"] > 60) & (rows["row_px"] < shape[0] - 60)
            & (rows["col_px"] > 60) & (rows["col_px"] < shape[1] - 60)
        )  # fmt: skip
        order = np.argsort(-rows["area_px"] * inside)
        found = []
        for k in order:
            pit, row, col = int(rows["label"][k]), float(rows["row_px"][k]), float(rows["col_px"][k])
            if self.review.labels[round(row), round(col)] == pit:
                found.append((pit, row, col))
        return found[:number]


def _metal(labels):
    """A place on bare surface, 12 px from any pit."""
    free = labels == 0
    for row in range(80, labels.shape[0] - 80, 7):
        for col in range(80, labels.shape[1] - 80, 7):
            if free[row - 16 : row + 17, col - 16 : col + 17].all():
                return row, col
    raise AssertionError("no bare surface")


def _counts(study) -> dict[str, str]:
    """Pits of each image as the report's table has them."""
    with (study / "tables" / "images.csv").open(encoding="utf-8", newline="") as file:
        return {row["image"]: row["pit_count"] for row in csv.DictReader(file) if row["pit_count"]}


def test_a_whole_review(make_viewer, qtbot, study, click, drag):
    """Reject two pits, split one, paint one, save with a name, close, reopen: the report's numbers follow."""
    write_report(study)
    automatic = _counts(study)
    desk = Desk(make_viewer(), qtbot, study)
    assert desk.count_shown() == int(float(automatic[IMAGE]))
    (split, row, col), first, second = desk.chosen(3)
    diameter = 2 * np.sqrt(desk.review.row(split)["area_px"] / np.pi)

    click(desk.viewer, desk.pits, *first[1:])
    desk.wait(lambda: desk.panel.desk.editing.selection == (first[0],))
    desk.press("reject")
    click(desk.viewer, desk.pits, *second[1:])
    desk.wait(lambda: desk.panel.desk.editing.selection == (second[0],))
    desk.key(Qt.Key.Key_R)
    assert [desk.review.status[pit] for pit in (first[0], second[0])] == ["rejected", "rejected"]
    rejected = desk.count_shown()
    assert rejected == int(float(automatic[IMAGE])) - 2

    click(desk.viewer, desk.pits, row, col)
    desk.wait(lambda: desk.panel.desk.editing.selection == (split,))
    desk.press("cut")
    drag(desk.viewer, desk.pits, [(row, col + k * diameter) for k in np.linspace(-1, 1, 9)])
    desk.wait(lambda: desk.count_shown() == rejected + 1)

    place = _metal(desk.review.labels)
    desk.press("add")
    drag(desk.viewer, desk.pits, [(place[0], place[1] + k) for k in (-4, -2, 0, 2, 4)])
    desk.wait(lambda: desk.count_shown() == rejected + 2)
    shown = desk.count_shown()

    desk.key(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    desk.wait(lambda: desk.count_shown() == rejected + 1)
    desk.key(Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier)
    desk.wait(lambda: desk.count_shown() == shown)

    qtbot.keyClicks(desk.find(QLineEdit, "reviewer"), "A. Tester")
    reason = desk.find(QWidget, "reason").lineEdit()
    qtbot.keyClicks(reason, "stains, and one pit was missed")
    desk.press("save")
    desk.wait(lambda: len(corrections_of(study)) == 1)
    desk.wait(lambda: {item.image_id: item.state for item in desk.session.items}.get(IMAGE) == "reviewed")
    (saved,) = corrections_of(study)
    mask = read_correction_mask(saved)
    np.testing.assert_array_equal(mask > 0, desk.review.corrected_labels() > 0)
    assert (saved.reviewer, saved.reason) == ("A. Tester", "stains, and one pit was missed")
    changed = {name: saved.changes[name] for name in ("rejected_count", "added_count", "split_count")}
    assert changed == {"rejected_count": 2, "added_count": 1, "split_count": 1}
    qtbot.wait(200)
    desk.viewer.close()

    again = Desk(make_viewer(), qtbot, study)
    assert again.count_shown() == shown
    np.testing.assert_array_equal(again.review.corrected_labels() > 0, mask > 0)
    assert again.find(QLineEdit, "reviewer").text() == "A. Tester"

    outcome = measure_study(study, workers=1)
    assert outcome.failed == []
    write_report(study)
    reported = _counts(study)
    assert int(float(reported[IMAGE])) == shown
    assert reported[OTHER] == automatic[OTHER]
    assert "A. Tester" in (study / "report.html").read_text(encoding="utf-8")
    assert len(corrections_of(study)) == 1


AT_WORK = """
import sys, time
import napari
from napari_surfscan import launch
from napari_surfscan.session import session_of
from qtpy.QtWidgets import QApplication

def until(so, patience_s=60):
    end = time.monotonic() + patience_s
    while not so():
        QApplication.processEvents()
        assert time.monotonic() < end
        time.sleep(0.01)

viewer = napari.Viewer()
launch.show_panels(viewer)
_, panel = viewer.window.add_plugin_dock_widget("surfscan", "Pits and masks")
launch.show_study(viewer, sys.argv[1], sys.argv[2])
until(lambda: panel.desk.editing is not None)
panel.saving.reviewer.setText("A. Tester")
panel.desk.name_reviewer("A. Tester")
editing = panel.desk.editing
for pit in sorted(editing.review.status)[:40]:
    editing.select([pit])
    panel.pits.buttons["reject"].click()
    print(pit, flush=True)
    until(lambda at=time.monotonic(): time.monotonic() - at > 0.05)
until(lambda: False, 600)
"""


def test_killed_viewer_loses_nothing_that_is_old(make_viewer, qtbot, study):
    """Killed in mid-edit: the next start offers the edits, and none older than ten seconds is lost."""
    process = subprocess.Popen(
        [sys.executable, "-c", AT_WORK, str(study), IMAGE],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    done = []
    try:
        for line in process.stdout:
            done.append((int(line), time.monotonic()))
            if len(done) == 15:
                break
    finally:
        process.kill()
        _, errors = process.communicate()
    killed = time.monotonic()
    assert len(done) == 15, errors
    assert corrections_of(study).all == ()

    desk = Desk(make_viewer(), qtbot, study)
    before = desk.count_shown()
    desk.wait(lambda: desk.panel.recovery.isVisible())
    assert "Unsaved work by A. Tester" in desk.panel.recovery.words.text()
    desk.press("recover")
    desk.wait(lambda: desk.count_shown() < before)
    rejected = {pit for pit, status in desk.review.status.items() if status == "rejected"}
    lost = [pit for pit, at in done if pit not in rejected and killed - at > 10]
    assert lost == []
    assert {pit for pit, _ in done} <= rejected, "each edit is on the disk before the next one"
    assert desk.count_shown() == before - len(rejected)
    assert "Not saved yet" in desk.find(QLabel, "saved_state").text()
