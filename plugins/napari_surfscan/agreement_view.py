"""What has been saved of an image, by whom; and two reviewers' versions side by side with their agreement."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from napari.utils.colormaps import DirectLabelColormap
from qtpy.QtCore import Qt
from qtpy.QtWidgets import (
    QComboBox,
    QFormLayout,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from napari_surfscan.mask_editing import take_away
from napari_surfscan.placing import PART, placement
from surfscan.errors import InputError
from surfscan.report.rounding import NO_VALUE, round_to_interval, significant

if TYPE_CHECKING:
    from napari_surfscan.review_desk import ReviewDesk
    from surfscan.corrections.agreement import Kappa, LimitsOfAgreement
    from surfscan.report.by_hand_agreement import ImageAgreement, PairAgreement

FIRST_COLOUR, SECOND_COLOUR = "#0072B2", "#E69F00"
_THIN, _WIDE = 1, 4

Line = tuple[str, str, str]


def agreement_lines(one: ImageAgreement, over_all: PairAgreement | None) -> list[Line]:
    """Agreement of two reviewers in words: what, how much, and what that means.

    Parameters
    ----------
    one : ImageAgreement
        On the open image.
    over_all : PairAgreement or None
        Over all images that both corrected; None where that is this one alone.
    """
    found = one.agreement
    first, second = one.first.reviewer, one.second.reviewer
    lines = [
        ("Dice of area", significant(found.dice), "1: the same area; 0: none in common"),
        ("Area fraction", f"{_share(one.areas[0])} ({first}), {_share(one.areas[1])} ({second})", ""),
    ]
    if one.procedure == "pits":
        lines += [
            ("Pits", f"{found.first_count} ({first}), {found.second_count} ({second})", ""),
            (
                "Matched pits",
                f"{found.matched_count} ({_share(found.matched_fraction)})",
                "Common pixels are more than half of the pixels of both together",
            ),
            ("Kappa, this image", *_kappa(found.kappa)),
        ]
    if over_all is None or len(over_all.images) < 2:
        lines.append(("Over images", NO_VALUE, "Both have corrected this one image only"))
        return lines
    n = len(over_all.images)
    if one.procedure == "pits":
        lines.append((f"Kappa, {n} images", *_kappa(over_all.kappa)))
    for name, words, unit, scale in (
        ("pit_count", "Difference in pits", "pits", 1.0),
        ("area_fraction", "Difference in area fraction", "%", 100.0),
    ):
        if name in over_all.limits:
            lines.append((f"{words}, {n} images", *_limits(over_all.limits[name], unit, scale)))
    return lines


def _share(share: float | None) -> str:
    return NO_VALUE if share is None or math.isnan(share) else f"{significant(100 * share)} %"


def _kappa(kappa: Kappa | None) -> tuple[str, str]:
    if kappa is None or kappa.value is None:
        return NO_VALUE, "" if kappa is None else kappa.why_none
    low, high = kappa.ci95 or (None, None)
    figure = str(round_to_interval(kappa.value, low, high))
    return figure, f"Cohen's kappa on accepting {kappa.count} automatic pits; 1 agree, 0 chance"


def _limits(found: LimitsOfAgreement, unit: str, scale: float) -> tuple[str, str]:
    if found.bias is None or found.low is None or found.high is None:
        return NO_VALUE, "Fewer than two images with both figures"
    number = round_to_interval(found.bias, found.low, found.high, scale=scale)
    return f"{number.value} {unit} ({number.interval})", "Mean difference and 95 % limits (Bland and Altman)"


class AgreementView(QWidget):
    """Saved versions of the open image, and the comparison of two.

    Parameters
    ----------
    desk : ReviewDesk
    """

    def __init__(self, desk: ReviewDesk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk
        self.empty = QLabel()
        self.empty.setObjectName("no_versions")
        self.empty.setWordWrap(True)
        self.versions = QTreeWidget()
        self.versions.setObjectName("versions")
        self.versions.setHeaderLabels(["Saved (UTC)", "Reviewer", "Reason"])
        self.versions.setRootIsDecorated(False)
        self.versions.setUniformRowHeights(True)
        self.first, self.second = QComboBox(), QComboBox()
        self.first.setObjectName("first_reviewer")
        self.second.setObjectName("second_reviewer")
        self.compare = QPushButton("Compare")
        self.compare.setObjectName("compare")
        self.compare.setToolTip("How far both agree, in figures here and as outlines on the picture")
        self.compare.clicked.connect(self._compare)
        self.away = QPushButton("Take outlines away")
        self.away.setObjectName("take_away")
        self.away.setToolTip("Take the outlines of both versions off the picture")
        self.away.clicked.connect(self._take_away)
        self.table = QTableWidget(0, 2)
        self.table.setObjectName("agreement")
        self.table.setHorizontalHeaderLabels(["Agreement", "Figure"])
        self.table.verticalHeader().setVisible(False)
        self.table.horizontalHeader().setSectionResizeMode(0, QHeaderView.ResizeMode.ResizeToContents)
        self.table.horizontalHeader().setStretchLastSection(True)
        self.table.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        self.table.setWordWrap(True)
        self.choice = QWidget()
        form = QFormLayout(self.choice)
        form.setContentsMargins(0, 0, 0, 0)
        form.addRow("One (thin, blue)", self.first)
        form.addRow("Other (wide, orange)", self.second)
        buttons = QHBoxLayout()
        buttons.addWidget(self.away)
        buttons.addWidget(self.compare)
        form.addRow(buttons)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 3, 0, 0)
        layout.addWidget(self.empty)
        layout.addWidget(self.versions, 1)
        layout.addWidget(self.choice)
        layout.addWidget(self.table, 2)
        layout.addStretch(0)
        self._layers: list[Any] = []
        self.show_versions()

    def show_versions(self) -> None:
        """List the saves of the procedure under review."""
        saved = self.desk.versions
        reviewers = list(dict.fromkeys(each.reviewer for each in reversed(saved)))
        self.versions.clear()
        for each in reversed(saved):
            row = QTreeWidgetItem([each.saved_at.replace("T", " ")[:16], each.reviewer, each.reason])
            row.setToolTip(2, each.reason)
            self.versions.addTopLevelItem(row)
        for column in (0, 1):
            self.versions.resizeColumnToContents(column)
        for box, place in ((self.first, 0), (self.second, 1)):
            chosen = box.currentText()
            box.clear()
            box.addItems(reviewers)
            box.setCurrentIndex(
                box.findText(chosen) if chosen in reviewers else min(place, len(reviewers) - 1)
            )
        may_compare = len(reviewers) > 1
        if may_compare and self.first.currentText() == self.second.currentText():
            self.second.setCurrentIndex(int(self.first.currentIndex() == 0))
        words = (
            "" if may_compare else "Once a second reviewer has saved a version, both can be compared here."
        )
        if not saved:
            words = "Nobody has saved a correction of this image yet.\n\n" + words
        self.empty.setText(words)
        self.empty.setVisible(bool(words))
        self.versions.setVisible(bool(saved))
        self.choice.setVisible(may_compare)
        if not may_compare:
            self.table.setRowCount(0)
        self.table.setVisible(self.table.rowCount() > 0)

    def show_lines(self, lines: list[Line]) -> None:
        """Show what came of a comparison."""
        self.table.setRowCount(len(lines))
        for row, (name, figure, says) in enumerate(lines):
            for column, text in enumerate((name, figure)):
                item = QTableWidgetItem(text)
                item.setToolTip(says)
                item.setFlags(Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable)
                self.table.setItem(row, column, item)
        self.table.resizeRowsToContents()
        self.table.setVisible(bool(lines))

    def _compare(self) -> None:
        names = (self.first.currentText(), self.second.currentText())
        if names[0] == names[1]:
            self.desk.said.emit("Choose two reviewers.", "")
            return
        self.desk.busy.emit("Comparing two versions")
        self.desk.session.run(_comparison(self.desk, names), returned=self._show, failed=self._fail)

    def _show(self, found: tuple[ImageAgreement, PairAgreement, dict[str, np.ndarray]]) -> None:
        one, over_all, masks = found
        self.desk.busy.emit("")
        self.show_lines(agreement_lines(one, over_all))
        self._take_away()
        if self.desk.opened is None or self.desk.opened.entry.image_id != one.record.image_id:
            return
        placing = placement(self.desk.opened.image.calibration)
        viewer = self.desk.session.viewer
        active = viewer.layers.selection.active
        drawn = ((self.second, SECOND_COLOUR, _WIDE), (self.first, FIRST_COLOUR, _THIN))
        for box, colour, width in drawn:  # the thin one on top, so that both show where they agree
            layer = viewer.add_labels(
                masks[box.currentText()],
                name=f"by {box.currentText()}",
                colormap=DirectLabelColormap(color_dict={0: "transparent", None: colour, 1: colour}),
                opacity=1.0,
                metadata={PART: True},
                **placing,
            )
            layer.contour = width
            layer.editable = False
            self._layers.append(layer)
        viewer.layers.selection.active = active

    def _fail(self, error: Exception) -> None:
        self.desk.busy.emit("")
        self.desk.failed.emit(error)

    def _take_away(self) -> None:
        take_away(self.desk.session.viewer, self._layers)
        self._layers = []


def _comparison(desk: ReviewDesk, names: tuple[str, str]) -> Callable[[], Any]:
    """Work for another thread: agreement on the open image and over all, with both masks."""
    study, procedure, image_id = desk.session.study, desk.procedure, desk.opened.entry.image_id

    def compare() -> Any:
        from surfscan.report.by_hand_agreement import CLASS_OF, reviewer_agreement
        from surfscan.report.records import gather
        from surfscan.store.corrections import read_correction_mask
        from surfscan.store.results import ResultsStore

        records, _ = gather(study, ResultsStore(study.folder).all())
        pairs, faults = reviewer_agreement(records)
        wanted = tuple(sorted(names))
        for pair in pairs:
            if (pair.procedure, pair.first, pair.second) != (procedure, *wanted):
                continue
            for one in pair.images:
                if one.record.image_id == image_id:
                    saved = (one.first, one.second)
                    masks = {c.reviewer: read_correction_mask(c).astype(np.int32) for c in saved}
                    if procedure in CLASS_OF:
                        code = CLASS_OF[procedure]
                        masks = {name: (mask == code).astype(np.int32) for name, mask in masks.items()}
                    return one, pair, masks
        why = next((text for name, text in faults if name == image_id), "")
        raise InputError(
            image_id,
            why or f"{names[0]} and {names[1]} have not both corrected this very file",
            "Choose two who did",
        )

    return compare
