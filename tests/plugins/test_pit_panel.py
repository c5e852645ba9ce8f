"""The panel in a real viewer: opened from the manifest, worked with mouse and keys."""

import pytest
from napari_surfscan.session import session_of
from qtpy.QtCore import Qt
from qtpy.QtWidgets import QPushButton

from surfscan.store.corrections import corrections_of, read_correction_mask

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def panel(real_viewer):
    """The panel as the manifest gives it, nothing open."""
    _, made = real_viewer.window.add_plugin_dock_widget("surfscan", "Pits and masks")
    made.viewer = real_viewer
    made.session = session_of(real_viewer)
    yield made
    made.session.close_image()


@pytest.fixture
def opened(panel, qtbot, study):
    """The panel with the first image of a study under review, contrasts worked out."""
    panel.session.open_study(study)
    qtbot.waitUntil(lambda: panel.desk.editing is not None, timeout=30000)
    qtbot.waitUntil(lambda: panel.desk.editing.review.prepared, timeout=30000)
    qtbot.wait(50)
    return panel


def _press(qtbot, panel, name):
    qtbot.mouseClick(panel.findChild(QPushButton, name), LEFT)


def _place(editing, pit):
    return editing._places[pit][:2]


@pytest.mark.slow
def test_empty_state_says_what_to_do(panel):
    """Without an image there is one sentence and no dead buttons."""
    assert "Open one of a study" in panel.empty.text()
    assert panel.empty.isVisible()
    for widget in (panel.run, panel.tabs, panel.saving, panel.tally):
        assert not widget.isVisible()


@pytest.mark.slow
def test_a_click_in_the_picture_selects_the_row_and_a_row_flies_to_the_pit(opened, qtbot, click):
    """Picture and table hold the same selection, both ways."""
    editing, table = opened.desk.editing, opened.pits.table
    pits = sorted(editing._places, key=lambda p: -editing._places[p][2])
    click(opened.viewer, editing.painted, *_place(editing, pits[0]))
    qtbot.waitUntil(lambda: editing.selection == (pits[0],))
    rows = table.selectionModel().selectedRows()
    assert [opened.pits.model.id_at(row.row()) for row in rows] == [pits[0]]
    model = opened.pits.model
    there = table.visualRect(model.index(model.row_of(pits[1]), 0)).center()
    table.scrollTo(model.index(model.row_of(pits[1]), 0))
    there = table.visualRect(model.index(model.row_of(pits[1]), 0)).center()
    qtbot.mouseClick(table.viewport(), LEFT, pos=there)
    assert editing.selection == (pits[1],)
    row, col = _place(editing, pits[1])
    size_y, size_x = editing.placing["scale"]
    assert opened.viewer.scene.camera.center[-2:] == pytest.approx((row * size_y, col * size_x))


@pytest.mark.slow
def test_keys_over_the_picture_and_over_the_table(opened, qtbot, click):
    """R rejects wherever the focus is, Ctrl+Z takes back; the tally follows."""
    editing = opened.desk.editing
    count = editing.review.tally().pit_count
    pit = max(editing._places, key=lambda p: editing._places[p][2])
    native = opened.viewer.window._qt_viewer.canvas.native
    click(opened.viewer, editing.painted, *_place(editing, pit))
    qtbot.keyClick(native, Qt.Key.Key_R)
    assert editing.review.status[pit] == "rejected"
    assert opened.tally.text().splitlines()[0].split() == ["Pits", str(count - 1), "−1"]
    qtbot.keyClick(native, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert editing.review.status[pit] == "accepted"
    opened.pits.table.setFocus()
    qtbot.keyClick(opened.pits.table, Qt.Key.Key_U)
    assert editing.review.status[pit] == "unsure"
    assert opened.pits.model.data(opened.pits.model.index(opened.pits.model.row_of(pit), 1)) == "? not sure"


@pytest.mark.slow
def test_a_pit_is_painted_and_another_cut_with_the_mouse(opened, qtbot, drag):
    """Add, drag: a new pit with a row. Cut, drag across: two pits out of one. Undo takes both back."""
    editing = opened.desk.editing
    count = editing.review.tally().pit_count
    pit = max(editing._places, key=lambda p: editing._places[p][2])
    row, col, width = editing._places[pit]
    editing.select([pit], fly=True)
    qtbot.wait(50)
    _press(qtbot, opened, "cut")
    drag(opened.viewer, editing.painted, [(row, col - width), (row, col), (row, col + width)])
    qtbot.waitUntil(lambda: editing.review.tally().pit_count == count + 1)
    assert not editing.is_cutting
    opened.viewer.reset_view()
    qtbot.wait(50)
    empty = next(
        (r, c)
        for r in range(30, 400, 10)
        for c in range(30, 400, 10)
        if not editing.review.labels[r - 20 : r + 21, c - 20 : c + 31].any()
    )
    _press(qtbot, opened, "add")
    drag(opened.viewer, editing.painted, [empty, (empty[0], empty[1] + 8)])
    qtbot.waitUntil(lambda: editing.review.tally().pit_count == count + 2)
    new = editing.pit_at((empty[0], empty[1] + 4))
    assert opened.pits.model.row_of(new) is not None
    for _ in range(2):
        _press(qtbot, opened, "undo")
    assert editing.review.tally().pit_count == count
    assert opened.pits.model.row_of(new) is None


@pytest.mark.slow
def test_saving_with_name_and_reason(opened, qtbot, study):
    """The button is dead until both are given; then the correction is on the disk, and the state says so."""
    editing = opened.desk.editing
    _press(qtbot, opened, "walk_next")
    (pit,) = editing.selection
    _press(qtbot, opened, "reject")
    assert "Not saved yet" in opened.saving.state.text()
    assert "1 rejected" in opened.saving.changes.text()
    _press(qtbot, opened, "save")
    assert not list(corrections_of(study))
    qtbot.keyClicks(opened.saving.reviewer, "A. Reviewer")
    opened.saving.reason.setCurrentIndex(0)
    _press(qtbot, opened, "save")
    qtbot.waitUntil(lambda: "Saved by A. Reviewer" in opened.saving.state.text(), timeout=30000)
    (saved,) = corrections_of(study)
    assert not (read_correction_mask(saved) == pit).any()
    assert opened.agreement.versions.topLevelItemCount() == 1


@pytest.mark.slow
def test_hiding_settled_ones_and_walking(opened, qtbot):
    """What was decided leaves the table when settled ones are hidden, and the walk goes on."""
    editing, model = opened.desk.editing, opened.pits.model
    rows = model.rowCount()
    _press(qtbot, opened, "walk_next")
    (first,) = editing.selection
    _press(qtbot, opened, "accept")
    opened.pits.hide_settled.setChecked(True)
    assert model.rowCount() == rows - 1
    assert model.row_of(first) is None
    _press(qtbot, opened, "walk_next")
    assert editing.selection[0] != first
    assert opened.pits.waiting.text().startswith(f"{rows - 1} open")


@pytest.mark.slow
def test_every_button_has_a_tooltip_and_fits_a_small_laptop(opened):
    """Words on every button; the dock stays within 380 px."""
    for button in opened.findChildren(QPushButton):
        assert button.toolTip(), button.objectName()
    assert opened.minimumSizeHint().width() <= 380
    assert opened.width() <= 400


@pytest.mark.slow
def test_live_preview_and_run_leave_the_screen_free(opened, qtbot):
    """A moved setting is tried in the background; a run puts up another mask."""
    before = opened.desk.editing.review.tally().pit_count
    opened.tabs.setCurrentIndex(1)
    opened.live.setChecked(True)
    qtbot.waitUntil(lambda: "preview" in opened.viewer.layers, timeout=30000)
    opened.form.findChild(object, "setting_min_diameter_px").setValue(20)
    qtbot.waitUntil(lambda: opened.tried.text().startswith("Tried"), timeout=30000)
    _press(qtbot, opened, "run")
    assert not opened.live.isChecked()
    qtbot.waitUntil(lambda: opened.desk.settings.min_diameter_px == 20, timeout=30000)
    assert "preview" not in opened.viewer.layers
    assert opened.desk.editing.review.tally().pit_count < before


@pytest.mark.slow
@pytest.mark.parametrize("hides", [False, True])
def test_arrow_keys_go_on_from_the_pit_that_was_judged(opened, qtbot, hides):
    """Judge, arrow down, judge: no row is passed over, though the table is filled anew in between."""
    tools = opened.pits
    table, model = tools.table, tools.model
    table.sortByColumn(1, Qt.SortOrder.AscendingOrder)
    tools.hide_settled.setChecked(hides)
    wanted = [model.id_at(row) for row in range(3, 7)]
    qtbot.mouseClick(table.viewport(), LEFT, pos=table.visualRect(model.index(3, 0)).center())
    judged = []
    for _ in wanted:
        judged.append(opened.desk.editing.selection[0])
        qtbot.keyClick(table, Qt.Key.Key_R)
        with qtbot.waitSignal(model.modelReset):  # values of neighbours have followed
            pass
        qtbot.keyClick(table, Qt.Key.Key_Down)
    assert judged == wanted
    assert [opened.desk.editing.review.status[pit] for pit in wanted] == ["rejected"] * 4
