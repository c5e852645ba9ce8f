"""Plots in a dock, in napari's colours: width against position with a cursor, the section at one place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.backends.backend_qtagg import FigureCanvasQTAgg
from matplotlib.figure import Figure
from napari.utils.theme import get_theme
from qtpy.QtCore import QRectF, Qt, Signal
from qtpy.QtGui import QColor, QLinearGradient, QPainter, QPalette
from qtpy.QtWidgets import QSizePolicy, QWidget

from surfscan.report.rounding import significant
from surfscan.report.strut_export import BY_HAND, Ink, draw_section, draw_width, emptied

if TYPE_CHECKING:
    from surfscan.procedures.strut_profile import SectionAt, StrutProfile, WidthColours

ORANGE, SKY_BLUE = "#E69F00", "#56B4E9"

_TEXT_PT = 9

_DARK = 128
"""Mean of red, green and blue of a background from which on it counts as light."""


class Plot(FigureCanvasQTAgg):
    """A canvas in the colours of the viewer's theme.

    Parameters
    ----------
    viewer : napari.Viewer or ViewerModel
    height_px : int
    """

    def __init__(self, viewer: Any, height_px: int) -> None:
        super().__init__(Figure())
        self.viewer = viewer
        self.axes = self.figure.add_subplot()
        self._lay_out()
        self.setFixedHeight(height_px)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setMinimumWidth(200)
        self._still: Any = None
        self._cursor: tuple[Any, ...] = ()
        self._at: tuple[float, float] | None = None
        self.mpl_connect("draw_event", self._on_drawn)
        self.take_colours()
        viewer.events.theme.connect(self._on_theme)

    def _lay_out(self) -> None:
        """Have the axes laid out anew at the next drawing."""
        self.figure.set_layout_engine("constrained", w_pad=0.03, h_pad=0.03)

    def resizeEvent(self, event: Any) -> None:
        """Lay out anew."""
        self._lay_out()
        super().resizeEvent(event)

    @property
    def ink(self) -> Ink:
        """Colours that can be told on the theme's background."""
        theme = get_theme(self.viewer.theme)
        text = theme.text.as_hex()
        if _is_dark(theme.background.as_hex()):
            return Ink(text=text, reference="#FFFFFF", metal=SKY_BLUE, by_hand=BY_HAND, quiet="#999999")
        return Ink(text=text)

    def take_colours(self) -> None:
        """Background, frame and text as the theme has them."""
        theme, ink = get_theme(self.viewer.theme), self.ink
        self.figure.set_facecolor(theme.background.as_hex())
        self.axes.set_facecolor(theme.background.as_hex())
        self.axes.tick_params(colors=ink.text, labelsize=_TEXT_PT)
        for item in (self.axes.xaxis.label, self.axes.yaxis.label, self.axes.title):
            item.set_color(ink.text)
            item.set_fontsize(_TEXT_PT)
        for spine in self.axes.spines.values():
            spine.set_color(ink.text)
        self.axes.spines[["top", "right"]].set_visible(False)
        for text in self.axes.texts:
            text.set_fontsize(_TEXT_PT)
            text.set_bbox({"fc": theme.background.as_hex(), "ec": "none", "alpha": 0.8, "pad": 1.0})

    @property
    def has_content(self) -> bool:
        """Whether there is something to draw."""
        raise NotImplementedError

    def paint(self) -> None:
        """Draw it on the axes."""
        raise NotImplementedError

    def redraw(self) -> None:
        """Draw all anew, in the theme's colours."""
        self._still, self._cursor = None, ()
        if self.has_content:
            self.axes.set_axis_on()
            self.paint()
            line = self.axes.axvline(0, color=ORANGE, lw=1.4, animated=True)
            (dot,) = self.axes.plot([0], [0], "o", ms=5, color=ORANGE, animated=True)
            (live,) = self.axes.plot([], [], color=BY_HAND, lw=1.8, animated=True)
            self._cursor = (line, dot, live)
        else:
            emptied(self.axes)
            self.axes.set_axis_off()
        self.take_colours()
        self.draw_idle()

    def move_cursor(self, x: float, y: float) -> None:
        """Put the cursor at a place of the plot; only the cursor is drawn anew."""
        self._at = (x, y)
        self._draw_cursor()

    def _on_drawn(self, _: Any) -> None:
        self.figure.set_layout_engine("none")  # laid out: half of the time of a drawing
        if self._cursor:
            self._still = self.copy_from_bbox(self.figure.bbox)
            self._put_cursor()

    def _draw_cursor(self) -> None:
        if self._still is None or not self._cursor or self._at is None:
            return
        self.restore_region(self._still)
        self._put_cursor()
        self.update()  # not blit, which repaints the whole window at once for every move of the mouse

    def _put_cursor(self) -> None:
        if self._at is None:
            return
        (x, y), (line, dot, live) = self._at, self._cursor
        self.axes.draw_artist(live)
        line.set_xdata([x, x])
        self.axes.draw_artist(line)
        if y == y:  # a number
            dot.set_data([x], [y])
            self.axes.draw_artist(dot)
        for text in self.axes.texts:  # the cursor does not strike them through
            self.axes.draw_artist(text)

    def _on_theme(self) -> None:
        self.redraw()


class WidthPlot(Plot):
    """Width against position along the strut in view; moving over it shows the place on the image.

    Signals
    -------
    pointed (int)
        Station of the profile that the mouse is at.
    """

    pointed = Signal(int)

    def __init__(self, viewer: Any) -> None:
        super().__init__(viewer, 210)
        self.setObjectName("width_plot")
        self.setToolTip("Move over the plot to see the place on the image")
        self.profile: StrutProfile | None = None
        self.place = -1
        self.mpl_connect("motion_notify_event", self._on_mouse)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    @property
    def has_content(self) -> bool:
        """Whether there is a strut."""
        return self.profile is not None

    def paint(self) -> None:
        """Draw the strut."""
        if self.profile is not None:
            draw_width(self.axes, self.profile, self.ink)

    def show_profile(self, profile: StrutProfile | None) -> None:
        """Show a strut, or nothing."""
        was, self.profile = self.profile, profile
        if was is None or profile is None or was.strut != profile.strut:
            self._lay_out()
        self.redraw()

    def show_preview(self, profile: StrutProfile) -> None:
        """Lay the width that a drag under way gives over the one that stands."""
        if self._cursor:
            self.profile = profile
            self._cursor[2].set_data(profile.s, profile.width)
            self.show_place(self.place)

    def show_place(self, place: int) -> None:
        """Put the cursor at a station."""
        self.place = place
        if self.profile is not None and 0 <= place < len(self.profile.s):
            self.move_cursor(float(self.profile.s[place]), float(self.profile.width[place]))

    def keyPressEvent(self, event: Any) -> None:
        """The arrow keys move the cursor by one station, with Shift by ten."""
        step = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}.get(event.key(), 0)
        if step and self.profile is not None:
            wide = 10 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 1
            self.pointed.emit(min(max(self.place + step * wide, 0), len(self.profile.s) - 1))
            return
        super().keyPressEvent(event)

    def _on_mouse(self, event: Any) -> None:
        if self.profile is not None and event.inaxes is self.axes and event.xdata is not None:
            self.pointed.emit(self.profile.at(event.xdata))


class SectionPlot(Plot):
    """The section at the cursor, to scale."""

    def __init__(self, viewer: Any) -> None:
        super().__init__(viewer, 120)
        self.setObjectName("section_plot")
        self.section: SectionAt | None = None

    def show_section(self, section: SectionAt | None) -> None:
        """Show a section, or nothing."""
        self.section = section
        self.redraw()

    @property
    def has_content(self) -> bool:
        """Whether there is a section."""
        return self.section is not None

    def redraw(self) -> None:
        """Draw the section with the theme's colours; it has no cursor."""
        draw_section(self.axes, self.section, self.ink)
        self.take_colours()
        self.draw_idle()


class ColourBar(QWidget):
    """A bar of colours with what they mean at its ends and middle."""

    def __init__(self, name: str, tip: str) -> None:
        super().__init__()
        self.setObjectName(name)
        self.setToolTip(tip)
        self.setFixedHeight(34)
        self.words: tuple[str, ...] = ()
        self._shades: list[QColor] = []

    def show_bar(self, shades: np.ndarray, words: tuple[str, ...]) -> None:
        """Show colours, shape (k, 4), 0 to 1, from the lower end on, and three words below them."""
        self._shades = [QColor.fromRgbF(*shade) for shade in shades.tolist()]
        self.words = words
        self.update()

    def paintEvent(self, _: Any) -> None:
        """Draw the bar and its words."""
        painter = QPainter(self)
        bar = QRectF(0, 0, self.width(), 12)
        gradient = QLinearGradient(bar.topLeft(), bar.topRight())
        for k, shade in enumerate(self._shades):
            gradient.setColorAt(k / max(len(self._shades) - 1, 1), shade)
        painter.fillRect(bar, gradient)
        painter.setPen(self.palette().color(QPalette.ColorRole.WindowText))
        below = QRectF(0, 13, self.width(), 20)
        left, middle, right = (
            Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignHCenter, Qt.AlignmentFlag.AlignRight
        )  # fmt: skip
        for words, side in zip(self.words, (left, middle, right), strict=False):
            painter.drawText(below, side | Qt.AlignmentFlag.AlignVCenter, words)
        painter.end()


class WidthLegend(ColourBar):
    """What the colours of the stations mean."""

    def __init__(self) -> None:
        super().__init__("width_legend", "Colours of the stations on the image: the width that is left")

    def show_colours(self, colours: WidthColours | None) -> None:
        """Show the ends of the colours, or nothing."""
        import matplotlib

        self.setVisible(colours is not None)
        if colours is None:
            return
        ends = (colours.low, (colours.low + colours.high) / 2, colours.high)
        more = ("", "", "≥\u00a0" if (colours.values > colours.high).any() else "")
        words = tuple(
            f"{mark}{significant(value)}\u00a0{colours.unit}{_share(value, colours.of)}"
            for mark, value in zip(more, ends, strict=True)
        )
        self.show_bar(matplotlib.colormaps["cividis"](np.linspace(0, 1, 17)), words)


def _share(value: float, of: float) -> str:
    """A width over the drawn one, in brackets; empty where none is drawn."""
    return "" if of != of else f" ({significant(100 * value / of, 2)}\u00a0%)"


def _is_dark(colour: str) -> bool:
    return sum(int(colour.lstrip("#")[k : k + 2], 16) for k in (0, 2, 4)) / 3 < _DARK
