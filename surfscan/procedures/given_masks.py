"""Masks that come with a height map: checked against it."""

from __future__ import annotations

import numpy as np

from surfscan.errors import InputError
from surfscan.images import HeightMap


def given_mask(image: HeightMap, mask: np.ndarray, name: str) -> np.ndarray:
    """A mask as bool of shape (M, N).

    Parameters
    ----------
    image : HeightMap
    mask : ndarray of shape (M, N)
        What is not 0 is marked.
    name : str
        What the mask is called in messages: "region", "datum".

    Raises
    ------
    InputError
        If the mask has another size than the map or marks nothing.
    """
    if mask.shape != image.shape:
        size = " x ".join(str(n) for n in mask.shape)
        raise InputError(
            image.source.path,
            f"the {name} mask is {size} px, the map is {image.shape[0]} x {image.shape[1]} px "
            "(rows x columns)",
            "Draw the mask on this map, at its full size",
        )
    marked = np.asarray(mask) != 0
    if not marked.any():
        raise InputError(image.source.path, f"the {name} mask marks nothing", "Draw it with values above 0")
    return marked
