"""The struts drawn on the image: edges, centreline, stations coloured by width, the place in view. No Qt."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np

from napari_surfscan.placing import PART, placement
from surfscan.measurement.strut_edges import SIDES
from surfscan.procedures.strut_profile import width_colours
from surfscan.report.rounding import significant

if TYPE_CHECKING:
    from napari_surfscan.strut_desk import StrutDesk
    from surfscan.corrections.strut_edits import EdgeHandle

EDGES, CENTRELINE, STATIONS, PLACE, WIDTHS = "edges", "centreline", "stations", "place", "widths"
BLUE, VERMILION, PURPLE, ORANGE, GREY = "#0072B2", "#D55E00", "#CC79A7", "#E69F00", "#888888"

_GRAB_PX = 14
"""How near to an edge the mouse must be to take hold of it, pixels of the screen."""

_CLICK_PX = 4
_APART = 8  # of its stations, this part at least lies between a label and that of the least
_LONG = 40  # stations that a strut must have for them
_LABELS = 4
"""So many stations of the strut in view have their width written beside them, besides the least."""

_LABEL_AWAY = 0.32  # of the width there, off the metal: beyond the ends of the line at the cursor
_ANCHORS = {
    (True, True): "upper_left",
    (True, False): "upper_right",
    (False, True): "lower_left",
    (False, False): "lower_right",
}
"""Where a label is held, by whether it stands above and to the right of its strut."""


class StrutLayers:
    """The layers "edges", "centreline", "stations", "place" and "widths" of the struts under review.

    Edges are drawn in the colour of metal, those moved by hand dashed in another. Stations are coloured from
    the least width to the drawn one; the least section has a mark. Widths are written off the metal, dark on
    light and light on dark.

    Parameters
    ----------
    desk : StrutDesk

    Attributes
    ----------
    is_moving : bool
        Whether dragging an edge moves it; otherwise a drag moves the view, as always.
    taper_px : float or None
        How far neighbours follow; as each strut suggests where None.
    """

    def __init__(self, desk: StrutDesk) -> None:
        self.desk = desk
        self.is_moving = False
        self.taper_px: float | None = None
        self._layers: list[Any] = []
        viewer = desk.session.viewer
        viewer.mouse_drag_callbacks.append(self._on_press)
        viewer.mouse_move_callbacks.append(self._on_move)
        desk.changed.connect(self._anew)
        desk.strut_chosen.connect(self._draw)
        desk.figures_changed.connect(self._draw)
        desk.previewed.connect(self._follow)
        desk.place_changed.connect(self._draw_place)

    @property
    def viewer(self) -> Any:
        """The viewer."""
        return self.desk.session.viewer

    def leave(self) -> None:
        """Take the layers away for good, and let the desk go."""
        viewer = self.viewer
        self.desk.leave()
        self._anew()
        viewer.mouse_drag_callbacks.remove(self._on_press)
        viewer.mouse_move_callbacks.remove(self._on_move)

    def fly_to(self) -> None:
        """Bring the place of the cursor to the middle of the view."""
        profile, place = self.desk.profile, self.desk.place
        layer = self.desk.session.image_layer
        if profile is None or place < 0 or layer is None:
            return
        self.viewer.scene.camera.center = layer.data_to_world((profile.row[place], profile.col[place]))[-2:]

    # drawing

    def _anew(self) -> None:
        for layer in self._layers:
            if layer in self.viewer.layers:
                self.viewer.layers.remove(layer)
        self._layers = []
        review, image = self.desk.review, self.desk.image
        if review is None or image is None or not review.has_struts:
            return
        common = {"metadata": {PART: True}, **placement(image.calibration)}
        active = self.viewer.layers.selection.active
        add = self.viewer.add_vectors
        none = np.zeros((0, 2, 2))
        self._layers = [
            add(none, name=CENTRELINE, edge_color=GREY, edge_width=0.6, vector_style="line", **common),
            self.viewer.add_points(
                np.zeros((0, 2)),
                name=STATIONS,
                border_width=0,
                **common,
            ),
            add(none, name=EDGES, edge_color=BLUE, edge_width=1.2, vector_style="line", **common),
            add(none, name=PLACE, edge_color=ORANGE, edge_width=1.6, vector_style="line", **common),
            self.viewer.add_points(
                np.zeros((0, 2)),
                name=WIDTHS,
                size=0.1,
                border_width=0,
                border_color="transparent",
                face_color="transparent",
                features={"width": np.zeros(0, "U24")},
                text={"string": "{width}", "size": 11, "color": "white"},
                **common,
            ),
        ]
        self.viewer.layers.selection.active = active
        self._draw_stations()

    def _draw(self) -> None:
        if not self._layers or self.desk.profile is None:
            return
        self._draw_edges()
        self._draw_stations()
        self._draw_widths()
        self._draw_place(self.desk.place)

    def _follow(self) -> None:
        """Only what a drag changes while it lasts: the edges."""
        if self._layers and self.desk.profile is not None:
            self._draw_edges(is_same=True)
            self._draw_place(self.desk.place)

    def _draw_edges(self, *, is_same: bool = False) -> None:
        """Both edges and the centreline; where the pieces are the same as before, colours stay."""
        profile, shown, review = self.desk.profile, self.desk.shown, self.desk.review
        if profile is None or shown is None or review is None:
            return
        table, at = shown.tables["stations"], profile.station
        pieces, colours = [], []
        for side in SIDES:
            line = np.column_stack([table[f"{side}_row_px"][at], table[f"{side}_col_px"][at]])
            own = segments(line)
            moved = review.moved.by_hand_on(side)[at]
            hand = moved[:-1] & moved[1:]
            keep = np.isfinite(own).all(axis=(1, 2)) & ~(hand & (np.arange(len(own)) % 3 == 2))  # dashes
            pieces.append(own[keep])
            colours.append(np.where(hand[keep], PURPLE, BLUE))
        layer = self._layers[2]
        drawn = np.concatenate(pieces)
        is_same = is_same and len(drawn) == len(layer.data)
        layer.data = drawn
        if is_same:
            return
        layer.edge_color = np.concatenate(colours)
        middle = segments(np.column_stack([profile.row, profile.col]))
        self._layers[0].data = middle[np.isfinite(middle).all(axis=(1, 2))]

    def _draw_stations(self) -> None:
        review, profile, shown = self.desk.review, self.desk.profile, self.desk.shown
        result = shown or (review.result if review is not None else None)
        colours = None if result is None else width_colours(result)
        if result is None or colours is None:
            return
        table = result.tables["stations"]
        at = np.flatnonzero(np.isfinite(colours.values))
        size = np.full(len(at), _dot(colours.values[at], result))
        symbol = np.full(len(at), "disc", dtype="U16")
        if profile is not None and profile.least_section >= 0:
            k = int(np.searchsorted(at, profile.station[profile.least_section]))
            symbol[k], size[k] = "triangle_down", 1.3 * size[k]
        shades = matplotlib.colormaps["cividis"](colours.position[at])
        shades[symbol == "triangle_down"] = matplotlib.colors.to_rgba(VERMILION)
        layer = self._layers[1]
        if len(layer.data) != len(at):
            layer.data = np.column_stack([table["row_px"][at], table["col_px"][at]])
        else:
            with layer.events.data.blocker():
                layer.data = np.column_stack([table["row_px"][at], table["col_px"][at]])
        layer.face_color, layer.size, layer.symbol = shades, size, symbol

    def _draw_widths(self) -> None:
        """Widths of the strut in view, all on that side of it where more of them lie in the picture."""
        profile, shown, image = self.desk.profile, self.desk.shown, self.desk.image
        if profile is None or shown is None or image is None:
            return
        labels = list(self._labels(profile))
        stations = np.array([station for station, _ in labels], int)
        at, table = profile.station[stations], shown.tables["stations"]
        best: tuple[int, np.ndarray, np.ndarray] | None = None
        for side, other in (SIDES, SIDES[::-1]):
            edge, far = (
                np.column_stack([table[f"{s}_row_px"][at], table[f"{s}_col_px"][at]]) for s in (side, other)
            )
            out = edge - far
            inside = int(np.count_nonzero(_is_inside(edge + out, image.pixels.shape)))
            if best is None or inside > best[0]:
                best = (inside, edge + _LABEL_AWAY * out, out)
        if best is None:
            return
        _, places, out = best
        layer = self._layers[4]
        layer.text.color = "white"  # one for all while their number changes
        layer.data = places
        layer.features = {"width": np.array([text for _, text in labels], "U24")}
        if len(out):
            inks = [self._ink(p + o / 8) for p, o in zip(places, out, strict=True)]
            layer.text.color = matplotlib.colors.to_rgba_array(inks)
            way = out.mean(axis=0)
            layer.text.anchor = _ANCHORS[bool(way[0] < 0), bool(way[1] >= 0)]

    def _ink(self, at: np.ndarray) -> str:
        """Black where the picture is light as it is shown, else white; beyond it the canvas is dark."""
        image, layer = self.desk.image, self.desk.session.image_layer
        if image is None or layer is None or not _is_inside(at, image.pixels.shape):
            return "white"
        row, col = np.round(at).astype(int)
        reach = max(4, min(image.pixels.shape[:2]) // 50)
        seen = image.pixels[max(row - reach, 0) : row + reach + 1, max(col - reach, 0) : col + reach + 1]
        low, high = layer.contrast_limits if seen.ndim == 2 else (0, 255)
        return "black" if float(np.median(seen)) > low + (high - low) / 2 else "white"

    def _labels(self, profile: Any) -> Iterator[tuple[int, str]]:
        """Stations of the strut in view that have their width written, and what is written."""
        known = np.flatnonzero(np.isfinite(profile.width))
        if not known.size:
            return
        few = _LABELS if known.size > _LONG else 0
        for k in known[np.linspace(0, known.size - 1, few + 2).astype(int)[1:-1]].tolist():
            if abs(k - profile.least_section) * _APART > len(profile.s):
                yield k, f"{significant(float(profile.width[k]))} {profile.unit}"
        if profile.least_section >= 0:
            text = significant(float(profile.width[profile.least_section]))
            yield profile.least_section, f"least {text} {profile.unit}"

    def _draw_place(self, place: int) -> None:
        profile, shown = self.desk.profile, self.desk.shown
        if not self._layers or profile is None or shown is None or place < 0:
            return
        table, k = shown.tables["stations"], profile.station[place]
        ends = np.array([[table[f"{s}_row_px"][k], table[f"{s}_col_px"][k]] for s in ("left", "right")])
        if not np.isfinite(ends).all():
            self._layers[3].data = np.zeros((0, 2, 2))
            return
        reach = (ends[1] - ends[0]) * 0.25
        self._layers[3].data = segments(np.stack([ends[0] - reach, ends[1] + reach]))

    # mouse

    def _place_of(self, event: Any) -> tuple[float, float] | None:
        layer = self.desk.session.image_layer
        if layer is None or self.desk.review is None or not self._layers:
            return None
        row, col = layer.world_to_data(event.position)[-2:]
        return float(row), float(col)

    def _on_move(self, _: Any, event: Any) -> None:
        """The cursor follows the mouse along the strut in view."""
        at = self._place_of(event)
        profile = self.desk.profile
        if at is None or profile is None:
            return
        k = profile.nearest(*at)
        if np.hypot(profile.row[k] - at[0], profile.col[k] - at[1]) <= self._reach():
            self.desk.go_to(k)

    def _reach(self) -> float:
        """How far from the strut the mouse still counts as on it, px: once its width."""
        profile, shown = self.desk.profile, self.desk.shown
        if profile is None or shown is None:
            return 0.0
        wide = shown.tables["stations"]["width_px"][profile.station]
        return float(np.nanmax(wide)) if np.isfinite(wide).any() else 0.0

    def _on_press(self, viewer: Any, event: Any) -> Iterator[None]:
        """A drag moves an edge where that is wanted; a click brings another strut into view."""
        at = self._place_of(event)
        review = self.desk.review
        if at is None or review is None or event.button != 1:
            return
        handle = self._grabbed(at) if self.is_moving else None
        if handle is None:
            yield from self._click(event, at)
            return
        event.handled = True
        self.desk.choose(handle.strut)
        taper = self.taper_px if self.taper_px is not None else handle.taper_px
        camera = viewer.scene.camera
        pans, camera.mouse_pan = camera.mouse_pan, False
        offset = 0.0
        try:
            yield
            while event.type == "mouse_move":
                there = self._place_of(event)
                if there is not None:
                    offset = review.offset_to(handle, *there) - review.offset_to(handle, *at)
                    self.desk.preview(handle, offset, taper)
                event.handled = True
                yield
        finally:
            camera.mouse_pan = pans
        if offset and self.desk.review is review:
            self.desk.drag(handle, offset, taper)
        elif self.desk.review is review:
            self.desk.forget_preview()

    def _grabbed(self, at: tuple[float, float]) -> EdgeHandle | None:
        """The edge under the mouse."""
        review, layer = self.desk.review, self.desk.session.image_layer
        handle = None if review is None else review.handle(*at)
        if handle is None or layer is None:
            return None
        size = min(abs(float(s)) for s in layer.scale[-2:])
        screen = handle.away_px * size * self.viewer.scene.camera.zoom
        return handle if screen <= _GRAB_PX else None

    def _click(self, event: Any, at: tuple[float, float]) -> Iterator[None]:
        start = np.asarray(event.pos)
        yield
        while event.type == "mouse_move":
            if np.abs(np.asarray(event.pos) - start).max() > _CLICK_PX:
                return
            yield
        review = self.desk.review
        handle = None if review is None else review.handle(*at)
        if handle is not None and handle.away_px <= 2 * handle.taper_px:
            self.desk.choose(handle.strut)
            if self.desk.profile is not None:
                self.desk.go_to(self.desk.profile.nearest(*at))


def _is_inside(at: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Whether places, rows and columns in px, lie in a picture."""
    return np.asarray(((at >= 0) & (at <= np.array(shape[:2]) - 1)).all(axis=-1))


def segments(line: np.ndarray) -> np.ndarray:
    """A line of n points as the n - 1 vectors between them, shape (n - 1, 2, 2)."""
    return np.stack([line[:-1], np.diff(line, axis=0)], axis=1)


def _dot(widths: np.ndarray, result: Any) -> float:
    """Diameter of a station's dot, px of the picture: an eighth of a width, but to be seen."""
    unit = 1.0 if result.calibration is None else result.calibration.pixel_area_um2**0.5
    return max(float(np.nanmedian(widths)) / unit / 8, 2.0)
