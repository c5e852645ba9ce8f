"""Class images as a person painted them, checked, and how far a figure that rests on them may be off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from surfscan.errors import InputError


def drawn_classes(
    corrected: np.ndarray, region: np.ndarray | None, path: str, shape: tuple[int, int], highest: int
) -> tuple[np.ndarray, list[str]]:
    """Check a person's class image.

    Parameters
    ----------
    corrected : ndarray of shape (M, N), int
        0 to `highest`.
    region : ndarray of shape (M, N), bool, optional
        The specimen; everything if None.
    path : str
        Image file, for messages.
    shape : (int, int)
        Of the picture.
    highest : int
        Largest class.

    Returns
    -------
    classes : ndarray of shape (M, N), uint8
        A copy; 0 off the specimen.
    warnings : list of str

    Raises
    ------
    InputError
        If the image has another shape than the picture, or holds anything but classes.
    """
    if corrected.shape != shape:
        raise InputError(
            path,
            f"the corrected mask is {' x '.join(map(str, corrected.shape))} px, the picture "
            f"{shape[0]} x {shape[1]} px (rows x columns)",
            "Correct the mask of this very picture, at its full size",
        )
    if corrected.dtype.kind not in "iu" or int(corrected.min()) < 0 or int(corrected.max()) > highest:
        raise InputError(
            path,
            f"the corrected mask holds {corrected.dtype} values from {corrected.min()} to {corrected.max()}",
            f"Give classes as whole numbers from 0 to {highest}",
        )
    classes = corrected.astype(np.uint8)
    if region is None:
        return classes, []
    lost = int(np.count_nonzero(classes[~region]))
    classes[~region] = 0
    if lost == 0:
        return classes, []
    return classes, [
        f"{lost} px painted by hand lie off the specimen and are left out: was the region or the data strip "
        "changed since?"
    ]


def moved_interval(
    value: float, automatic: float | None, automatic_ci95: Sequence[float] | None
) -> tuple[float, float] | None:
    """Interval of a fraction corrected by hand: as wide, either way, as that of the automatic fraction.

    Where the class boundary lies is as uncertain as before, for most of it is still the one that was found.
    How well a person paints is not in it: that shows when two persons do.

    Parameters
    ----------
    value : float
        0 to 1.
    automatic : float or None
        Fraction of the automatic map.
    automatic_ci95 : (float, float) or None

    Returns
    -------
    (float, float) or None
        Clipped to 0 and 1; None where the automatic fraction has no interval.
    """
    if automatic is None or automatic_ci95 is None:
        return None
    low, high = automatic_ci95
    return max(0.0, value - (automatic - low)), min(1.0, value + (high - automatic))
