"""Labels that stand in a picture without a bar: looked for only to say what is missing."""

from __future__ import annotations

import numpy as np

from surfscan.calibration.bars import Box
from surfscan.calibration.label_reading import is_plain, read_labels
from surfscan.calibration.labels import Label, is_round, parse_label
from surfscan.calibration.levels import as_bytes

_BAND = 0.22  # share of the picture's height that is read along its lower and upper edge
_SURE = 0.8


def find_loose_labels(pixels: np.ndarray) -> list[tuple[Label, Box]]:
    """Lengths written along the lower or upper edge of a picture.

    Parameters
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3)

    Returns
    -------
    list of (Label, Box)
        Round lengths in nm, µm or mm read with certainty, the surest first; empty without the extra `ocr`.
    """
    level = as_bytes(pixels)
    rows, cols = level.shape[:2]
    band = max(48, round(_BAND * rows))
    found = []
    for window in ((max(0, rows - band), rows, 0, cols), (0, min(rows, band), 0, cols)):
        for text in read_labels(level, window):
            label = parse_label(text.text)
            if (
                label is not None
                and is_plain(text.rendering)
                and text.score >= _SURE
                and is_round(label) >= 0.9
            ):
                found.append((text.score, text.box, label))
    found.sort(key=lambda entry: (-entry[0], entry[1]))
    return [(label, box) for _, box, label in found]
