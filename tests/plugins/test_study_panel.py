"""The list of a study's images: states in words and marks, filters, the way from one to the next."""

import pytest
from napari.components import ViewerModel
from napari_surfscan.session import ReviewSession, _sessions
from napari_surfscan.study_panel import MARKS, StudyPanel
from napari_surfscan.workers import run_at_once
from qtpy.QtCore import Qt

from surfscan.study.remembered import read_remembered

IDS = ["images/C28-1_b.ome.tif", "images/U28-1_b.ome.tif"]


@pytest.fixture
def panel(qtbot):
    viewer = ViewerModel()
    _sessions[viewer] = ReviewSession(viewer, run_at_once)
    shown = StudyPanel(viewer)
    shown.viewer_of_test = viewer  # sessions do not keep their viewer alive
    qtbot.addWidget(shown)
    shown.show()
    return shown


def _rows(panel):
    """Text and state of the images that are listed."""
    return [
        (row.text(0), row.text(1))
        for k in range(panel.list.topLevelItemCount())
        for row in [panel.list.topLevelItem(k).child(0)]
        if not row.isHidden() and not panel.list.topLevelItem(k).isHidden()
    ]


def test_without_a_study_it_says_what_to_do(panel):
    """No empty list, no dead buttons: what to do next."""
    assert panel.empty.isVisible()
    assert "Open one here" in panel.empty.text()
    assert not panel.list.isVisible()
    assert not panel.next.isVisible()
    assert panel.open.isVisible()


def test_images_with_their_state(panel, study):
    """Each image under its specimen, its state as a mark and a word, and how many of each."""
    panel.session.open_study(study)
    assert _rows(panel) == [("C28-1_b.ome.tif", "◐ measured"), ("U28-1_b.ome.tif", "◐ measured")]
    assert panel.list.topLevelItem(0).text(0) == "C28-1  ·  plates"
    assert panel.counts.text() == "2 images: 2 measured"
    assert panel.list.currentItem().toolTip(0) == IDS[0]
    assert not panel.empty.isVisible()
    assert set(MARKS) == {"not measured", "measured", "reviewed", "stale", "failed"}
    assert len(set(MARKS.values())) == len(MARKS)


def test_filter_by_text_and_state(panel, study, qtbot):
    """A part of specimen, group or file; a state; both."""
    panel.session.open_study(study)
    qtbot.keyClicks(panel.filter, "u28")
    assert [name for name, _ in _rows(panel)] == ["U28-1_b.ome.tif"]
    panel.filter.clear()
    qtbot.keyClicks(panel.filter, "plates")
    assert len(_rows(panel)) == 2
    panel.states.setCurrentIndex(panel.states.findData("failed"))
    assert _rows(panel) == []
    qtbot.mouseClick(panel.next, Qt.MouseButton.LeftButton)
    assert "clear the filter" in panel.messages.words.text()


def test_next_and_previous_by_key_and_button(panel, study, qtbot):
    """Keys and buttons do the same, among those listed."""
    panel.session.open_study(study)
    with qtbot.waitActive(panel):
        panel.activateWindow()
        panel.setFocus()
    qtbot.keyClick(panel, Qt.Key.Key_PageDown, Qt.KeyboardModifier.ControlModifier)
    assert panel.session.current.entry.image_id == IDS[1]
    assert panel.list.currentItem().toolTip(0) == IDS[1]
    qtbot.mouseClick(panel.previous, Qt.MouseButton.LeftButton)
    assert panel.session.current.entry.image_id == IDS[0]
    assert "Ctrl+PgDown" in panel.next.toolTip()


def test_click_opens_an_image(panel, study, qtbot):
    """A click on a row opens its image, and it is remembered for this study."""
    panel.session.open_study(study)
    row = panel._rows[IDS[1]]
    panel.list.scrollToItem(row)
    at = panel.list.visualItemRect(row).center()
    qtbot.mouseClick(panel.list.viewport(), Qt.MouseButton.LeftButton, pos=at)
    assert panel.session.current.entry.image_id == IDS[1]
    assert read_remembered(study).last_image == IDS[1]


def test_progress_while_states_are_found(panel, study):
    """How many of how many, and nothing when all are known."""
    panel.session.open_study(study)
    panel.session.looking.emit(3, 8)
    assert panel.progress.isVisible()
    assert panel.progress.text() == "Looking at the states: 3 of 8"
    panel.session.looking.emit(8, 8)
    assert not panel.progress.isVisible()


def test_errors_stand_in_the_panel(panel, tmp_path):
    """A folder that is no study is said in the panel, with details to copy."""
    panel.session.open_study(tmp_path / "none")
    assert panel.messages.isVisible()
    assert "none" in panel.messages.words.text()
    assert panel.messages._more.isVisible()


def test_words_from_files_are_not_markup(panel, study):
    """A title with angle brackets is shown as it is written."""
    path = study / "study.toml"
    path.write_text(path.read_text("utf-8").replace("Two plates", "Two <i>plates</i> & more"), "utf-8")
    panel.session.open_study(study)
    assert "&lt;i>plates&lt;/i> &amp; more" in panel.title.text()
