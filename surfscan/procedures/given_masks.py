"""What of a height map is to be measured: given masks, checked against it, and whether enough is left."""

from __future__ import annotations

import numpy as np

from surfscan.errors import InputError
from surfscan.images import HeightMap
from surfscan.preparation.region import SMALLEST_REGION_PX


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


def refuse_unmeasured(heights_um: np.ndarray, region: np.ndarray | None, path: str) -> None:
    """InputError where fewer than `SMALLEST_REGION_PX` heights are measured in a region (None: everywhere).

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float
    region : ndarray of shape (M, N), bool, or None
    path : str
        Height map, for the message.
    """
    measured = ~np.isnan(heights_um)
    if region is not None:
        measured &= region
    count = int(np.count_nonzero(measured))
    if count < SMALLEST_REGION_PX:
        raise InputError(
            path,
            f"only {count} heights were measured on the specimen, fewer than {SMALLEST_REGION_PX}",
            "Check the masks given, or measure the surface again",
        )
