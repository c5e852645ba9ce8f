"""A form for the settings of a procedure, made from the settings class itself: nothing is typed twice."""

from __future__ import annotations

import re
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from qtpy.QtCore import Qt, Signal
from qtpy.QtGui import QWheelEvent
from qtpy.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QSpinBox,
    QWidget,
)

_UNITS = (
    ("_um2", "µm²"),
    ("_um3", "µm³"),
    ("_um", "µm"),
    ("_px", "px"),
    ("_deg", "°"),
    ("_fraction", ""),
)
_LARGEST = 1e6
_DECIMALS = 4


def name_in_words(name: str) -> tuple[str, str]:
    """A setting's name as people write it, and its unit: min_diameter_um -> ("Min diameter", "µm")."""
    for suffix, unit in _UNITS:
        if name.endswith(suffix):
            name = name.removesuffix(suffix) if unit else name
            break
    else:
        unit = ""
    words = name.replace("_", " ")
    return words[0].upper() + words[1:], unit


def limits_of(field: FieldInfo) -> tuple[float, float]:
    """Smallest and largest number that a field takes, as far as a spin box can hold them."""
    low, high = -_LARGEST, _LARGEST
    for rule in field.metadata:
        step = 10.0**-_DECIMALS
        if (least := getattr(rule, "ge", None)) is not None:
            low = float(least)
        if (above := getattr(rule, "gt", None)) is not None:
            low = float(above) + step
        if (most := getattr(rule, "le", None)) is not None:
            high = float(most)
        if (below := getattr(rule, "lt", None)) is not None:
            high = float(below) - step
    return low, high


class SettingsForm(QWidget):
    """One row a setting, with its unit; tooltips are the settings' own descriptions.

    Signals
    -------
    changed ()
        A setting has been moved.
    """

    changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.model: type[BaseModel] | None = None
        self._rows: dict[str, _Row] = {}
        self._layout = QFormLayout(self)
        self._layout.setContentsMargins(0, 0, 0, 0)
        self._layout.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)

    def show_settings(self, settings: BaseModel) -> None:
        """Make the rows of a settings class and fill them."""
        if type(settings) is not self.model:
            while self._layout.rowCount():
                self._layout.removeRow(0)
            self._rows = {}
            self.model = type(settings)
            for name, field in self.model.model_fields.items():
                self._add_row(name, field)
        for name, row in self._rows.items():
            row.blockSignals(True)
            row.put(getattr(settings, name))
            row.blockSignals(False)

    def settings(self) -> BaseModel:
        """The settings as they stand.

        Raises
        ------
        ValueError
            Where two settings do not go together; the message is the settings' own.
        """
        if self.model is None:
            raise ValueError("no settings are shown")
        try:
            return self.model(**{name: row.value() for name, row in self._rows.items()})
        except ValidationError as error:
            raise ValueError("; ".join(str(fault["msg"]) for fault in error.errors())) from error

    def _add_row(self, name: str, field: FieldInfo) -> None:
        words, unit = name_in_words(name)
        row = _Row(name, field, unit)
        row.setToolTip(field.description or "")
        row.moved.connect(self.changed)
        label = QLabel(f"{words}, {unit}" if unit else words)
        label.setToolTip(field.description or "")
        label.setBuddy(row.editor)
        self._rows[name] = row
        self._layout.addRow(label, row)


class _Row(QWidget):
    """Editor of one setting; one that may be unset has a box to tick beside it."""

    moved = Signal()

    def __init__(self, name: str, field: FieldInfo, unit: str) -> None:
        super().__init__()
        kinds = [k for k in get_args(field.annotation) if k is not type(None)]
        is_choice = get_origin(field.annotation) is Literal
        self._may_be_unset = not is_choice and type(None) in get_args(field.annotation)
        kind = kinds[0] if self._may_be_unset else field.annotation
        self.editor: QComboBox | QSpinBox | QDoubleSpinBox
        if is_choice:
            self.editor = _Choice()
            for choice in get_args(field.annotation):
                self.editor.addItem(str(choice).replace("_", " "), choice)
            self.editor.currentIndexChanged.connect(self._tell)
        else:
            self.editor = _WholeNumber() if kind is int else _Number()
            low, high = limits_of(field)
            if isinstance(self.editor, QSpinBox):
                self.editor.setRange(int(low), int(high))
            else:
                self.editor.setDecimals(_DECIMALS)
                self.editor.setRange(low, high)
                self.editor.setStepType(QDoubleSpinBox.StepType.AdaptiveDecimalStepType)
            self.editor.setSuffix(f" {unit}" if unit else "")
            self.editor.setKeyboardTracking(False)
            self.editor.valueChanged.connect(self._tell)
        self.editor.setObjectName(f"setting_{name}")
        self.editor.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        layout = QHBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        self._is_set = QCheckBox()
        self._is_set.setObjectName(f"set_{name}")
        self._is_set.setToolTip("Tick to set a value; otherwise see the description for what decides")
        self._is_set.setVisible(self._may_be_unset)
        self._is_set.clicked.connect(self._begin)
        self._is_set.toggled.connect(self._show_editor)
        self._is_set.toggled.connect(self._tell)
        self._unset = QLabel("not set")
        layout.addWidget(self._is_set)
        layout.addWidget(self._unset, 1)
        layout.addWidget(self.editor, 1)
        self._show_editor(not self._may_be_unset)

    def put(self, value: Any) -> None:
        """Show a value."""
        self.editor.blockSignals(True)
        self._is_set.setChecked(value is not None)
        if isinstance(self.editor, QComboBox):
            self.editor.setCurrentIndex(self.editor.findData(value))
        elif value is not None:
            self.editor.setValue(value)
        self._show_editor(value is not None)
        self.editor.blockSignals(False)

    def value(self) -> Any:
        """The value shown; None where it is unset."""
        if isinstance(self.editor, QComboBox):
            return self.editor.currentData()
        if self._may_be_unset and not self._is_set.isChecked():
            return None
        return self.editor.value()

    def _show_editor(self, is_set: bool) -> None:
        self.editor.setVisible(is_set)
        self._unset.setVisible(not is_set)

    def _begin(self, is_set: bool) -> None:
        """A number set for the first time begins at 1, or as near to it as it may."""
        if is_set and not isinstance(self.editor, QComboBox):
            low, high = self.editor.minimum(), self.editor.maximum()
            if self.editor.value() == low:
                self.editor.setValue(min(max(low, 1), high))

    def _tell(self, *_: object) -> None:
        self.moved.emit()


class _StillUnderTheWheel:
    """A wheel turned over a form scrolls the form and changes no setting."""

    def wheelEvent(self, event: QWheelEvent) -> None:
        event.ignore()


class _Choice(_StillUnderTheWheel, QComboBox):
    pass


class _WholeNumber(_StillUnderTheWheel, QSpinBox):
    pass


class _Number(_StillUnderTheWheel, QDoubleSpinBox):
    def textFromValue(self, value: float) -> str:
        """Without noughts at the end."""
        return re.sub(r"\.?0+$", "", f"{value:.{_DECIMALS}f}")
