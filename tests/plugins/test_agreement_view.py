"""Two reviewers' versions side by side, on a measured study."""

import numpy as np
import pytest
from napari.components import ViewerModel
from napari_surfscan.agreement_view import AgreementView
from napari_surfscan.review_desk import ReviewDesk
from napari_surfscan.session import ReviewSession
from napari_surfscan.workers import run_at_once

from surfscan.store.corrections import corrections_of, read_correction_mask


@pytest.fixture
def desk(study):
    """A desk on the study."""
    viewer = ViewerModel()
    made = ReviewDesk(ReviewSession(viewer, run_at_once))
    made.viewer = viewer
    made.session.open_study(study)
    yield made
    made.session.close_image()


def _save(desk, name, rejected):
    desk.editing.select(list(desk.editing._places)[rejected : rejected + 1])
    desk.editing.reject()
    desk.save(name, "looked through")


def _figures(view):
    return {view.table.item(r, 0).text(): view.table.item(r, 1).text() for r in range(view.table.rowCount())}


def test_empty_state_says_what_to_do_next(qtbot, desk):
    """Nothing saved, then one version: words say what is still needed."""
    view = AgreementView(desk)
    qtbot.addWidget(view)
    assert "Nobody has saved" in view.empty.text()
    _save(desk, "A. First", 0)
    view.show_versions()
    assert "second reviewer" in view.empty.text()
    assert view.versions.topLevelItemCount() == 1
    assert view.choice.isHidden()


def test_two_versions_are_compared_in_figures_and_on_the_picture(qtbot, desk):
    """Dice, matches and kappa on this image; Bland and Altman once both have corrected two images."""
    heard = []
    desk.failed.connect(heard.append)
    image_ids = desk.session.image_ids
    for image_id in image_ids:
        desk.session.open_image(image_id)
        _save(desk, "A. First", 0)
        _save(desk, "B. Second", 1)
    view = AgreementView(desk)
    qtbot.addWidget(view)
    assert {view.first.currentText(), view.second.currentText()} == {"A. First", "B. Second"}
    view.compare.click()
    assert not heard
    figures = _figures(view)
    first, second = (
        read_correction_mask(c) > 0
        for c in corrections_of(desk.session.study.folder).of(image_ids[1], "pits")
    )
    dice = 2 * (first & second).sum() / (first.sum() + second.sum())
    assert float(figures["Dice of area"]) == pytest.approx(dice, abs=5e-4)
    count = desk.editing.review.tally().pit_count
    assert figures["Pits"] == f"{count + 1} (A. First), {count} (B. Second)"
    assert {"Kappa, this image", "Kappa, 2 images"} <= set(figures)
    assert figures["Difference in pits, 2 images"].startswith("1")
    layers = desk.viewer.layers
    assert np.array_equal(layers["by A. First"].data > 0, first)
    assert layers["by A. First"].contour != layers["by B. Second"].contour
    view.away.click()
    assert "by A. First" not in layers


def test_a_second_reviewer_is_chosen_when_there_is_one(qtbot, desk):
    """The list stood open, with one reviewer in both boxes, when the second saved."""
    view = AgreementView(desk)
    qtbot.addWidget(view)
    _save(desk, "A. First", 0)
    view.show_versions()
    _save(desk, "B. Second", 1)
    view.show_versions()
    assert {view.first.currentText(), view.second.currentText()} == {"A. First", "B. Second"}


def test_the_same_reviewer_twice_is_no_comparison(qtbot, desk):
    """Words, and no table."""
    _save(desk, "A. First", 0)
    _save(desk, "B. Second", 1)
    said = []
    desk.said.connect(lambda words, _: said.append(words))
    view = AgreementView(desk)
    qtbot.addWidget(view)
    view.second.setCurrentText(view.first.currentText())
    view.compare.click()
    assert said[-1] == "Choose two reviewers."
    assert view.table.rowCount() == 0
