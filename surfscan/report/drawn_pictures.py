"""All pictures of a page, kept to what a page may weigh."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.report.drawing import MOST_CHARS
from surfscan.report.height_pictures import make_height_picture
from surfscan.report.pictures import FieldPicture, make_picture
from surfscan.report.records import FieldRecord
from surfscan.report.section_pictures import make_section_picture
from surfscan.report.strut_pictures import make_strut_picture
from surfscan.study.entries import Shows

PICTURES_BYTES = 9_000_000
"""What all pictures together may weigh; each gets an even share of it, and no more than `PICTURE_BYTES`."""

PICTURE_BYTES = 160_000

DRAWN_CHARS = 22_000_000
"""What all that is drawn on them may weigh; where it is more, the heaviest drawings are made lighter."""

_WITH_LIMIT: dict[Shows, Callable[[FieldRecord, Path, int, int], FieldPicture]] = {
    "surface": make_picture,
    "heights": make_height_picture,
}
_WITHOUT: dict[Shows, Callable[[FieldRecord, Path, int], FieldPicture]] = {
    "strut": make_strut_picture,
    "section": make_section_picture,
}
"""What an image shows -> what draws it; what is drawn on struts and sections keeps to a length of its own."""


def draw_pictures(
    folder: Path, records: Sequence[FieldRecord], drawn_chars: int = DRAWN_CHARS
) -> tuple[dict[str, FieldPicture], list[tuple[str, str]]]:
    """Draw every measured image, a few at a time.

    Parameters
    ----------
    folder : Path
        Folder of the study.
    records : sequence of FieldRecord
    drawn_chars : int, optional
        What all that is drawn on the pictures may weigh.

    Returns
    -------
    pictures : dict of str to FieldPicture
        By image, in the study's order.
    faults : list of (str, str)
        Images that could not be drawn, and why.
    """
    wanted = [r for r in records if r.any_done() and (r.kind in _WITH_LIMIT or r.kind in _WITHOUT)]
    share = min(PICTURE_BYTES, PICTURES_BYTES // max(len(wanted), 1))

    def draw(record: FieldRecord, most_chars: int = MOST_CHARS) -> FieldPicture | InputError:
        try:
            if record.kind in _WITH_LIMIT:
                return _WITH_LIMIT[record.kind](record, folder, share, most_chars)
            return _WITHOUT[record.kind](record, folder, share)
        except InputError as error:
            return error

    pictures: dict[str, FieldPicture] = {}
    faults = []
    with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:
        for record, outcome in zip(wanted, pool.map(draw, wanted), strict=True):
            if isinstance(outcome, InputError):
                reason = InputError(None, outcome.fault, outcome.remedy)
                faults.append((record.image_id, f"No picture: {reason}"))
            else:
                pictures[record.image_id] = outcome
        level = fair_share([p.drawn_chars for p in pictures.values()], drawn_chars)
        heavy = [
            r for r in wanted if r.kind in _WITH_LIMIT and r.image_id in pictures
            and pictures[r.image_id].drawn_chars > level
        ]  # fmt: skip
        lighter = pool.map(lambda r: draw(r, _layer_share(pictures[r.image_id], level)), heavy)
        for record, outcome in zip(heavy, lighter, strict=True):
            if isinstance(outcome, FieldPicture):
                pictures[record.image_id] = outcome
    return pictures, faults


def fair_share(weights: Sequence[int], budget: int) -> int:
    """The most that any may weigh so that all together keep to a budget; no limit where they do already.

    Parameters
    ----------
    weights : sequence of int
    budget : int

    Returns
    -------
    int
        The largest weight where the sum keeps to the budget; else the level L at which the sum of min(w, L)
        is the budget.
    """
    if not weights or sum(weights) <= budget:
        return max(weights, default=0)
    ordered = np.sort(np.asarray(weights, dtype=np.int64))
    below = np.concatenate([[0], np.cumsum(ordered)[:-1]])
    above = np.arange(len(ordered), 0, -1)
    levels = (budget - below) // above  # if all from here on were cut to one level
    return int(levels[np.flatnonzero(levels <= ordered)[0]])


def _layer_share(picture: FieldPicture, level: int) -> int:
    """What each layer of a picture may weigh."""
    return level // max(len(picture.layers), 1)
