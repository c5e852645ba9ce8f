"""Pictures of height maps: heights in colour, gaps hatched, pits outlined, the deepest one marked."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from surfscan.images import HeightMap
from surfscan.report.drawing import (
    MOST_CHARS,
    SHOWN_WIDTH_PX,
    SPECK_PX2,
    encode,
    outside,
    scale_bar,
)
from surfscan.report.pictures import ColourBar, FieldPicture, open_as_measured, stretch, um_per_px
from surfscan.report.pit_drawing import pit_layer
from surfscan.report.records import FieldRecord
from surfscan.report.rounding import significant
from surfscan.store.results import StoredResult

_ENDS_PERCENT = (0.01, 99.99)
_UNMEASURED_GREY = 190
_FIT_SIDE_PX = 100


def make_height_picture(
    record: FieldRecord, folder: Path, max_bytes: int, most_chars: int = MOST_CHARS
) -> FieldPicture:
    """Draw one height map, its form taken off.

    Parameters
    ----------
    record : FieldRecord
        A height map with at least one result that succeeded.
    folder : Path
        Folder of the study.
    max_bytes : int
        Size aimed at for the encoded picture.
    most_chars : int, optional
        Length aimed at for what is drawn over it.

    Raises
    ------
    InputError
        If the file or a mask cannot be read or is no longer the one measured.
    """
    image, measured = open_as_measured(record, folder)
    if not isinstance(image, HeightMap):
        raise TypeError(f"{record.image_id}: opened as heights, got {type(image).__name__}")
    region = measured.read_mask("region") > 0
    heights = _levelled(image, measured, region)
    rows, cols = heights.shape
    shown = heights[region & ~np.isnan(heights)]
    low, high = (float(v) for v in np.percentile(shown, _ENDS_PERCENT))
    high = max(high, low + 1e-9)

    def render(width: int, height: int) -> np.ndarray:
        return _coloured(*_reduced(heights, width, height), low, high)

    uri, width, height = encode(render, (rows, cols), stretch(measured), max_bytes)
    enlarged = max(1.0, SHOWN_WIDTH_PX / width)  # small maps on the page; their marks stay as they are
    width, height = round(width * enlarged), round(height * enlarged)
    zoom = (width / cols, height / rows)
    unit = max(1.0, width / SHOWN_WIDTH_PX)
    layer = outside(region & ~np.isnan(heights), zoom, SPECK_PX2 * enlarged**2)
    left_out = 0
    if record.done("pits"):
        drawn, left_out = pit_layer(record, zoom, unit, most_chars)
        layer += drawn + _deepest_mark(record, zoom, unit, cols)
    strip = round(26 * unit)
    bar, words = scale_bar(width, height, strip, um_per_px(measured, zoom[0]), 1 / zoom[0])
    colours = ColourBar(
        significant(low, 2), significant(high, 2), 100 * min(max(-low / (high - low), 0.0), 1.0)
    )
    return FieldPicture(width, height, strip, uri, {"heights": layer}, bar, words, colours, left_out)


def _levelled(image: HeightMap, measured: StoredResult, region: np.ndarray) -> np.ndarray:
    """Heights less the kind of form that was taken off for measuring, spikes not measured, float32.

    The form is fitted anew, to every so many-th point: close enough for a picture, and quick.
    """
    from surfscan.preparation.form import fit_form
    from surfscan.preparation.spikes import find_spikes

    step = max(1, min(image.shape) // _FIT_SIDE_PX)
    scale = measured.calibration
    form = fit_form(
        image.heights_um[::step, ::step],
        measured.summary["form"],
        pixel_size_um=(step * scale.pixel_size_x_um, step * scale.pixel_size_y_um) if scale else None,
        region=region[::step, ::step],
    )
    rows, cols = (np.arange(n) / step for n in image.shape)
    heights = (image.heights_um - form.surface(rows, cols)).astype(np.float32)
    if measured.settings["spikes"] == "auto":
        heights[find_spikes(heights, region)] = np.nan
    return heights


def deepest_pit(record: FieldRecord) -> int | None:
    """Row of the deepest pit in the table of pits; at equal depth one whose depth is a lower bound."""
    table = record.table("pits")
    depths = table["depth_um"]
    if not np.isfinite(depths).any():
        return None
    order = np.lexsort((table["depth_is_lower_bound"], np.nan_to_num(depths, nan=-np.inf)))
    return int(order[-1])


def _deepest_mark(record: FieldRecord, zoom: tuple[float, float], unit: float, cols: int) -> str:
    """A cross at the deepest point of the deepest pit, and the pit's number beside it."""
    pit = deepest_pit(record)
    if pit is None:
        return ""
    table = record.table("pits")
    places = [
        float(table[f"deepest_{axis}_px"][pit])
        if np.isfinite(table[f"deepest_{axis}_px"][pit])
        else float(table[f"{axis}_px"][pit])
        for axis in ("col", "row")
    ]
    x, y = (place + 0.5 for place in places)
    x, y = x * zoom[0], y * zoom[1]
    arm = 6 * unit
    left = x > 0.8 * cols * zoom[0]
    text_x = x - 1.6 * arm if left else x + 1.6 * arm
    text_y = max(y - 0.8 * arm, 17 * unit)
    cross = f"M{x - arm:.1f} {y:.1f}h{2 * arm:.1f}M{x:.1f} {y - arm:.1f}v{2 * arm:.1f}"
    return (
        f'<path class="deepest-case" d="{cross}"/><path class="deepest" d="{cross}"/>'
        f'<text class="deepest-mark" x="{text_x:.1f}" y="{text_y:.1f}" font-size="{15 * unit:.1f}" '
        f'text-anchor="{"end" if left else "start"}">no. {int(table["label"][pit])}</text>'
    )


def _reduced(heights: np.ndarray, width: int, height: int) -> tuple[np.ndarray, np.ndarray]:
    """Means of the measured heights in each picture pixel, and where there are any."""
    import cv2

    measured = ~np.isnan(heights)
    weight = cv2.resize(measured.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA)
    filled = np.where(measured, heights, 0).astype(np.float32)
    total = cv2.resize(filled, (width, height), interpolation=cv2.INTER_AREA)
    known = weight > 0.5
    return np.divide(total, weight, out=np.zeros_like(total), where=known), known


def _coloured(heights: np.ndarray, known: np.ndarray, low: float, high: float) -> np.ndarray:
    """Heights in cividis between the two ends, RGB; grey where not measured."""
    import matplotlib

    table = np.round(255 * np.asarray(matplotlib.colormaps["cividis"](np.arange(256)))[:, :3]).astype(
        np.uint8
    )
    step = np.clip((heights - low) / (high - low), 0, 1)
    out = table[(step * 255).round().astype(np.uint8)]
    out[~known] = _UNMEASURED_GREY
    return np.asarray(out)
