"""What people changed by hand, as pictures show it: purple and dashed, never to be taken for found."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from surfscan.report.drawing import area_path, strokes
from surfscan.report.plotting import path_of, runs
from surfscan.report.records import FieldRecord

BY_HAND = "by-hand"
"""Class of what was added or changed; also that of strokes, see `surfscan.report.drawing.strokes`."""

GONE = "by-hand-gone"
"""Class of objects found by the program that a person took out."""

_MOVED_PX = 1e-6


def objects_by_hand(automatic: np.ndarray | None, corrected: np.ndarray) -> tuple[set[int], set[int]]:
    """Which objects of a mask are not as the program found them, and which of those found are gone.

    Parameters
    ----------
    automatic : ndarray of shape (M, N), int, or None
        Labels above 0; None where the program has no result.
    corrected : ndarray of shape (M, N), int

    Returns
    -------
    changed : set of int
        Corrected labels that do not hold exactly the pixels of one automatic object.
    gone : set of int
        Automatic labels of which no pixel lies in a corrected object.
    """
    if automatic is None:
        automatic = np.zeros_like(corrected)
    found, put = automatic.reshape(-1).astype(np.int64), corrected.reshape(-1).astype(np.int64)
    found_area, put_area = np.bincount(found), np.bincount(put)
    width = len(put_area)
    pair, area = np.unique((found * width + put)[(found > 0) & (put > 0)], return_counts=True)
    a, c = pair // width, pair % width
    same = (area == found_area[a]) & (area == put_area[c])
    changed = set(np.flatnonzero(put_area).tolist()) - {0} - set(c[same].tolist())
    gone = set(np.flatnonzero(found_area).tolist()) - {0} - set(a.tolist())
    return changed, gone


def automatic_mask(record: FieldRecord, procedure: str, name: str) -> np.ndarray | None:
    """A mask of the automatic result behind a corrected one; None where there is none.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    result = record.automatic_of(procedure)
    return result.read_mask(name) if result is not None and name in result.mask_paths else None


def area_by_hand(
    record: FieldRecord,
    procedure: str,
    key: str,
    zoom: tuple[float, float],
    window: tuple[slice, slice] = (slice(None), slice(None)),
) -> str:
    """Outline of where a mask of classes is another than the program's; empty where nobody corrected it.

    Parameters
    ----------
    record : FieldRecord
    procedure : str
        "degraded" or "section", and so is its mask called.
    key : str
        What tells the picture from others on the page.
    zoom : (float, float)
        Picture pixels over pixels of the file, along a row and a column.
    window : (slice, slice), optional
        Part of the file that is shown.

    Raises
    ------
    InputError
        If a mask cannot be read.
    """
    done = record.done(procedure)
    if procedure not in record.corrections or done is None:
        return ""
    found = automatic_mask(record, procedure, procedure)
    if found is None:
        return ""
    path = area_path((found != done.read_mask(procedure))[window], zoom)
    return "".join(strokes(BY_HAND, f"{procedure}-{key}", [path])) if path else ""


def edges_by_hand(record: FieldRecord, key: str, zoom: tuple[float, float]) -> str:
    """Edges of struts along the stretches where a person moved them; empty where nobody did.

    Parameters
    ----------
    record : FieldRecord
    key : str
        What tells the picture from others on the page.
    zoom : (float, float)
        Picture pixels over pixels of the file, along a row and a column.
    """
    automatic = record.automatic_of("struts")
    if "struts" not in record.corrections or automatic is None:
        return ""
    table, before = record.table("stations"), automatic.tables["stations"]
    if not np.array_equal(table["strut"], before["strut"]):
        return ""
    paths = []
    for side in ("left", "right"):
        now, then = (np.stack([t[f"{side}_col_px"], t[f"{side}_row_px"]], axis=1) for t in (table, before))
        moved = np.abs(now - then).max(axis=1, initial=0.0) > _MOVED_PX  # nowhere measured: not moved
        for number in dict.fromkeys(table["strut"].tolist()):
            at = np.flatnonzero(table["strut"] == number)
            for start, end in runs(moved[at]):
                own = at[max(start - 1, 0) : end + 1]
                points = (now[own] + 0.5) * np.array(zoom)
                paths.append(path_of(points[np.isfinite(points).all(axis=1)], closed=False, tolerance=0.4))
    return "".join(strokes(BY_HAND, f"struts-{key}", paths))


def hand_signs(layers: Iterable[str]) -> dict[str, bool]:
    """Which of these signs are drawn in any of the layers, for their legend."""
    drawn = list(layers)
    return {
        "by_hand": any(f'class="{BY_HAND}"' in layer for layer in drawn),
        "taken_out": any(f'class="{GONE}"' in layer for layer in drawn),
    }
