"""Settings, tally and saving as widgets, without a canvas."""

from dataclasses import replace

import pytest
from napari_surfscan.save_panel import SaveBox, changes_in_words
from napari_surfscan.settings_form import SettingsForm, limits_of, name_in_words
from napari_surfscan.tally_view import TallyView, class_lines, pit_lines
from qtpy.QtCore import Qt
from qtpy.QtWidgets import QComboBox, QDoubleSpinBox, QLabel

from surfscan.corrections.class_review import ClassTally
from surfscan.corrections.tally import Tally
from surfscan.procedures.settings import PROCEDURE_SETTINGS, DegradedSettings, PitSettings

AUTOMATIC = Tally(10, 100.0, (80.0, 120.0), None, None, 0.05, (0.04, 0.06), 12.5, False, 1000)


@pytest.mark.parametrize("name", ["pits", "height_pits", "degraded", "section"])
def test_every_setting_has_a_row_with_its_unit_and_its_description(qtbot, name):
    """The form gives back the defaults untouched, and every field's own words."""
    form = SettingsForm()
    qtbot.addWidget(form)
    settings = PROCEDURE_SETTINGS[name]()
    form.show_settings(settings)
    assert form.settings() == settings
    for field, about in type(settings).model_fields.items():
        words, unit = name_in_words(field)
        labels = [each for each in form.findChildren(QLabel) if each.toolTip() == about.description]
        assert any(words in each.text() and unit in each.text() for each in labels), field


def test_spin_boxes_stop_at_the_settings_own_limits(qtbot):
    """Limits are read from the settings class, so that none is typed twice."""
    form = SettingsForm()
    qtbot.addWidget(form)
    form.show_settings(PitSettings())
    box = form.findChild(QDoubleSpinBox, "setting_min_contrast")
    assert (box.minimum(), box.maximum()) == (0.01, 0.95)
    assert limits_of(PitSettings.model_fields["min_diameter_um"])[0] > 0
    assert box.text() == "0.08"


def test_moving_a_setting_tells_and_showing_settings_does_not(qtbot):
    """Only a person's hand starts a preview."""
    form = SettingsForm()
    qtbot.addWidget(form)
    with qtbot.assertNotEmitted(form.changed):
        form.show_settings(PitSettings(min_contrast=0.2))
    with qtbot.waitSignal(form.changed):
        form.findChild(QDoubleSpinBox, "setting_min_contrast").setValue(0.3)
    assert form.settings().min_contrast == 0.3


def test_a_setting_that_may_be_unset_is_ticked_to_be_set(qtbot):
    """Unset shows as words; ticked, it begins with a number that the settings take."""
    form = SettingsForm()
    qtbot.addWidget(form)
    form.show_settings(DegradedSettings())
    form.show()
    tick = form.findChild(object, "set_min_patch_um2")
    assert form.settings().min_patch_um2 is None
    qtbot.mouseClick(tick, Qt.MouseButton.LeftButton)
    assert form.settings().min_patch_um2 == 1.0
    choice = form.findChild(QComboBox, "setting_degraded_is")
    choice.setCurrentIndex(choice.findData("lighter"))
    assert form.settings().degraded_is == "lighter"


def test_tally_has_units_intervals_and_changes():
    """Every figure stands with its unit; changes are against the automatic result."""
    now = replace(AUTOMATIC, pit_count=8, density_per_mm2=81.0, deepest_um=13.0, deepest_is_lower_bound=True)
    lines = pit_lines(replace(now, automatic=AUTOMATIC))
    assert lines[0] == ("Pits", "8", "−2")
    assert lines[1] == ("Density", "81 (80 to 120) /mm²", "−19 /mm²")
    assert lines[2] == ("Pit area", "5.0 (4.0 to 6.0) %", "±0")
    assert lines[3] == ("Deepest", "≥\u00a013.0 µm", "+0.50 µm")


def test_a_sum_in_another_order_is_no_change():
    """Figures that differ in their last bits alone have not changed."""
    now = replace(AUTOMATIC, area_fraction=AUTOMATIC.area_fraction * (1 + 1e-14))
    assert pit_lines(replace(now, automatic=AUTOMATIC))[2][2] == "±0"


def test_tally_without_scale_is_per_million_pixels():
    """No scale is assumed, and a figure that nobody can defend is a dash."""
    bare = replace(
        AUTOMATIC, density_per_mm2=None, density_per_mm2_ci95=None, density_per_mpx=3.0, deepest_um=None
    )
    lines = pit_lines(replace(bare, automatic=bare))
    assert lines[1][1] == "3.00 /Mpx"
    assert len(lines) == 3


def test_tally_view_shows_as_many_rows_as_there_are(qtbot):
    """Rows of a longer tally before do not linger."""
    view = TallyView()
    qtbot.addWidget(view)
    view.show()
    view.show_lines(pit_lines(replace(AUTOMATIC, automatic=AUTOMATIC)))
    assert view.text().count("\n") == 3
    view.show_lines([("Degraded", "20 %", "±0")])
    assert view.text() == "Degraded  20 %  ±0"
    view.show_lines([])
    assert "run a procedure" in view.findChildren(QLabel)[0].text()


def test_tally_of_classes():
    """A degraded share with its interval; areas alone where there is no share."""
    first = ClassTally({"metal": 80, "degraded": 20}, 0.2, (0.18, 0.22), None, None, None, None, 100)
    now = replace(first, degraded_fraction=0.25, degraded_fraction_ci95=(0.23, 0.27), automatic=first)
    assert class_lines(now) == [("Degraded", "25.0 (23.0 to 27.0) %", "+5.0 % pts")]
    bare = replace(first, degraded_fraction=None, automatic=first)
    assert class_lines(bare) == [("Metal", "80 px", "±0"), ("Degraded", "20 px", "±0")]


def test_changes_come_in_words_and_numbers():
    """Counts with areas in µm² where a scale is known, else in px."""
    changes = {"rejected_count": 2, "rejected_area_px": 400, "unsure_count": 1, "area_by_hand_fraction": 0.0}
    assert changes_in_words(changes, 0.25) == "2 rejected (100 µm²), 1 not sure."
    assert changes_in_words(changes, None) == "2 rejected (400 px), 1 not sure."
    assert "added by hand" in changes_in_words({"added_area_px": 40, "moved_area_px": 0}, None)
    assert changes_in_words({}, 0.25) == "Nothing has changed against the automatic result."


def test_saving_wants_a_name_and_a_reason(qtbot):
    """The button says what is missing, and hands over what was written."""
    box = SaveBox()
    qtbot.addWidget(box)
    box.show()
    assert not box.save.isEnabled()
    box.offer("pits")
    assert box.save.toolTip() == "Write your name first"
    qtbot.keyClicks(box.reviewer, "A. Reviewer")
    assert box.save.toolTip() == "Give a reason first"
    box.reason.setCurrentIndex(0)
    assert box.save.isEnabled()
    with qtbot.waitSignal(box.wanted) as told:
        qtbot.mouseClick(box.save, Qt.MouseButton.LeftButton)
    assert told.args == ["A. Reviewer", "Stains or dirt were counted as pits"]
    box.offer("pits", "This image belongs to no study")
    assert not box.save.isEnabled()
    assert box.reason.currentText() == "Stains or dirt were counted as pits"
    box.show_state("Saving …", is_saving=True)
    assert not box.save.isEnabled()
