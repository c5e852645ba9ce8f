"""The automatic result that a review begins with: fresh from a procedure, or read back from a store."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

import numpy as np

from surfscan.columns import Table


class Automatic(Protocol):
    """What `Result` and `StoredResult` share."""

    @property
    def procedure(self) -> str:
        """Name of the procedure."""

    @property
    def settings(self) -> Mapping[str, Any]:
        """Settings as used."""

    @property
    def summary(self) -> Mapping[str, Any]:
        """Figures of the field."""

    @property
    def tables(self) -> Mapping[str, Table]:
        """Tables by name."""


def mask_of(automatic: Automatic, name: str) -> np.ndarray:
    """A mask of a fresh or stored result, shape (M, N).

    Raises
    ------
    KeyError
        If it has no such mask.
    InputError
        If a stored mask is missing or was changed.
    """
    masks = getattr(automatic, "masks", None)
    if masks is not None:
        return np.asarray(masks[name])
    read: Any = automatic
    return np.asarray(read.read_mask(name))
