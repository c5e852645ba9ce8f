"""surfscan: corroded metal surfaces and thin parts, measured from microscopy.

Importing it loads nothing heavy: the names below are fetched on first use.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from surfscan._version import __version__

if TYPE_CHECKING:
    from surfscan import procedures
    from surfscan.errors import InputError
    from surfscan.images import Calibration, HeightMap, Micrograph, Source
    from surfscan.opening import open_image

_HOME = {
    "Calibration": "surfscan.images",
    "HeightMap": "surfscan.images",
    "InputError": "surfscan.errors",
    "Micrograph": "surfscan.images",
    "Source": "surfscan.images",
    "open_image": "surfscan.opening",
}

__all__ = [
    "Calibration",
    "HeightMap",
    "InputError",
    "Micrograph",
    "Source",
    "__version__",
    "open_image",
    "procedures",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    if name == "procedures":
        return import_module("surfscan.procedures")
    raise AttributeError(f"module 'surfscan' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
