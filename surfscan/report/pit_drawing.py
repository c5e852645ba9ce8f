"""Pits as they are drawn on pictures: outlines, marks of those near a limit, and what was changed by hand."""

from __future__ import annotations

import numpy as np

from surfscan.report.drawing import MOST_CHARS, apart, outlines, picture_key, strokes
from surfscan.report.hand_drawing import BY_HAND, GONE, automatic_mask, objects_by_hand
from surfscan.report.records import FieldRecord


def pit_layer(
    record: FieldRecord, zoom: tuple[float, float], unit: float, most_chars: int = MOST_CHARS
) -> tuple[str, int]:
    """Outlines of the pits and of the features for review, with their marks, in picture pixels.

    Parameters
    ----------
    record : FieldRecord
    zoom : (float, float)
        Picture pixels over pixels of the file, along a row and a column.
    unit : float
        Size of marks.
    most_chars : int, optional
        Length that the outlines of the pits may have; the largest pits come first.

    Returns
    -------
    svg : str
    left_out : int
        Pits that are not outlined, the smallest.
    """
    result = record.results["pits"]
    table = record.table("pits")
    near = set(table["label"][table["near_limit"] != ""].tolist())
    found = result.read_mask("pits")
    changed, gone = _by_hand(record, found)
    every, near_marks = outlines(found, zoom, unit)
    sizes = dict(zip(table["label"].tolist(), table["area_px"].tolist(), strict=True))
    pits = _largest(every, sizes, most_chars)
    near &= set(pits)
    review, review_marks = outlines(result.read_mask("for_review"), zoom, unit)
    parts = []
    key = picture_key(record.image_id)
    found_pits = {label: d for label, d in pits.items() if label not in changed}
    parts += strokes("pit", key, [d for label, d in found_pits.items() if label not in near])
    parts += strokes("near", key, [d for label, d in found_pits.items() if label in near])
    parts += strokes("review", key, list(review.values()))
    parts += strokes(BY_HAND, f"pits-{key}", [d for label, d in pits.items() if label in changed])
    size = 5.5 * unit
    right = found.shape[1] * zoom[0]
    for x, y in (near_marks[n] for n in sorted(near & set(near_marks))):
        x, y = min(max(x, size), right - size), max(y, 2 * size)
        parts.append(
            f'<path class="near-mark" d="M{x - size:.1f} {y - 1.8 * size:.1f}h{2 * size:.1f}'
            f'l{-size:.1f} {1.5 * size:.1f}z"/>'
        )
    for x, y in apart([review_marks[n] for n in sorted(review_marks)], 3 * size):
        x, y = min(max(x, size), right - size), max(y, 2.8 * size)
        parts.append(
            f'<text class="review-mark" x="{x:.1f}" y="{y - 0.4 * size:.1f}" '
            f'font-size="{15 * unit:.1f}" text-anchor="middle">?</text>'
        )
    if gone is not None:
        lost, lost_marks = outlines(gone, zoom, unit)
        parts += strokes(GONE, key, list(lost.values()))
        parts += [_cross(*lost_marks[n], size, right) for n in sorted(lost_marks)]
    return "".join(parts), len(every) - len(pits)


def _by_hand(record: FieldRecord, found: np.ndarray) -> tuple[set[int], np.ndarray | None]:
    """Pits that a person added or changed, and a mask of those taken out; None where none were."""
    if "pits" not in record.corrections:
        return set(), None
    automatic = automatic_mask(record, "pits", "pits")
    changed, gone = objects_by_hand(automatic, found)
    if automatic is None or not gone:
        return changed, None
    return changed, np.where(np.isin(automatic, list(gone)), automatic, 0)


def _cross(x: float, y: float, size: float, right: float) -> str:
    """A cross above something that a person took out."""
    x, y = min(max(x, size), right - size), max(y - 1.3 * size, size)
    wide = f"{2 * size:.1f}"
    d = f"M{x - size:.1f} {y - size:.1f}l{wide} {wide}m0-{wide}l-{wide} {wide}"
    return f'<path class="{BY_HAND}-cross-case" d="{d}"/><path class="{BY_HAND}-cross" d="{d}"/>'


def _largest(paths: dict[int, str], sizes: dict[int, int], most_chars: int) -> dict[int, str]:
    """As many outlines as the length allows, of the largest objects, in the order of their labels."""
    kept, length = set(), 0
    for label in sorted(paths, key=lambda n: (-sizes.get(n, 0), n)):
        length += len(paths[label])
        if length > most_chars:
            break
        kept.add(label)
    return {label: path for label, path in paths.items() if label in kept}
