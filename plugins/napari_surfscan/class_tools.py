"""A brush a class for masks of classes, with undo."""

from __future__ import annotations

from qtpy.QtCore import Qt
from qtpy.QtGui import QColor, QIcon, QPixmap
from qtpy.QtWidgets import QHBoxLayout, QLabel, QPushButton, QSlider, QVBoxLayout, QWidget

from napari_surfscan.class_editing import COLOURS, ClassEditing


class ClassTools(QWidget):
    """Brushes named by what they paint."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.editing: ClassEditing | None = None
        self.brushes: dict[int, QPushButton] = {}
        self._brush_box = QVBoxLayout()
        self.undo = self._button("class_undo", "Undo", "Take the last stroke back (Ctrl+Z)")
        self.redo = self._button("class_redo", "Redo", "Bring back what was taken back (Ctrl+Shift+Z)")
        self.look = self._button("put_brush_away", "Put the brush away", "Move the picture again (6 or Z)")
        self.undo.clicked.connect(lambda: self.editing and self.editing.undo())
        self.redo.clicked.connect(lambda: self.editing and self.editing.redo())
        self.look.clicked.connect(self._stop)
        self.size = QSlider(Qt.Orientation.Horizontal)
        self.size.setObjectName("brush_size")
        self.size.setRange(1, 200)
        self.size.setToolTip("Width of the brush, px ([ and ])")
        self.size.valueChanged.connect(self._resize)
        steps = QHBoxLayout()
        for button in (self.undo, self.redo, self.look):
            steps.addWidget(button)
        sizes = QHBoxLayout()
        sizes.addWidget(QLabel("Brush, px"))
        sizes.addWidget(self.size, 1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 3, 0, 0)
        layout.addWidget(QLabel("Paint what a place really is:"))
        layout.addLayout(self._brush_box)
        layout.addLayout(sizes)
        layout.addLayout(steps)
        layout.addStretch(1)
        self.setEnabled(False)

    def follow(self, editing: ClassEditing | None) -> None:
        """Show the brushes of another review; None where there is none."""
        self.editing = editing
        self.setEnabled(editing is not None)
        for brush in self.brushes.values():
            self._brush_box.removeWidget(brush)
            brush.deleteLater()
        self.brushes = {}
        if editing is None:
            return
        for code, name in editing.names.items():
            brush = QPushButton(f"{name[0].upper()}{name[1:]}")
            brush.setObjectName(f"brush_{name.replace(' ', '_')}")
            brush.setCheckable(True)
            brush.setToolTip(f"Paint as {name}; key 2 takes the brush again, 6 puts it away")
            colour = COLOURS[editing.procedure].get(code)
            if colour:
                chip = QPixmap(12, 12)
                chip.fill(QColor(colour))
                brush.setIcon(QIcon(chip))
            brush.clicked.connect(lambda _=False, c=code: self._take(c))
            self.brushes[code] = brush
            self._brush_box.addWidget(brush)
        self.size.setValue(int(editing.painted.brush_size))
        editing.painted.events.mode.connect(self._show_brush)
        editing.painted.events.selected_label.connect(self._show_brush)

    def _button(self, name: str, text: str, says: str) -> QPushButton:
        button = QPushButton(text)
        button.setObjectName(name)
        button.setToolTip(says)
        return button

    def _take(self, code: int) -> None:
        if self.editing is not None:
            self.editing.take_brush(code)
            self._show_brush()

    def _stop(self) -> None:
        if self.editing is not None:
            self.editing.stop_tools()
            self._show_brush()

    def _resize(self, size: int) -> None:
        if self.editing is not None and self.editing.painted is not None:
            self.editing.painted.brush_size = size

    def _show_brush(self, *_: object) -> None:
        if self.editing is None or self.editing.painted is None:
            return
        layer = self.editing.painted
        for code, brush in self.brushes.items():
            brush.setChecked(layer.mode == "paint" and layer.selected_label == code)
