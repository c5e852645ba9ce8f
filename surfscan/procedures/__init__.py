"""One callable per kind of image; the only thing that command line, batch and viewer call."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from surfscan.procedures.degraded import measure_degraded
    from surfscan.procedures.pits import measure_pits
    from surfscan.procedures.result import Result
    from surfscan.procedures.scale import measure_scale
    from surfscan.procedures.section import measure_section
    from surfscan.procedures.settings import (
        DegradedSettings,
        PitSettings,
        ScaleSettings,
        SectionSettings,
        StrutSettings,
        TextureSettings,
    )
    from surfscan.procedures.struts import measure_struts
    from surfscan.procedures.texture import measure_texture

_HOME = {
    "DegradedSettings": "settings",
    "PitSettings": "settings",
    "Result": "result",
    "ScaleSettings": "settings",
    "SectionSettings": "settings",
    "StrutSettings": "settings",
    "TextureSettings": "settings",
    "measure_degraded": "degraded",
    "measure_pits": "pits",
    "measure_scale": "scale",
    "measure_section": "section",
    "measure_struts": "struts",
    "measure_texture": "texture",
}

__all__ = [
    "DegradedSettings",
    "PitSettings",
    "Result",
    "ScaleSettings",
    "SectionSettings",
    "StrutSettings",
    "TextureSettings",
    "measure_degraded",
    "measure_pits",
    "measure_scale",
    "measure_section",
    "measure_struts",
    "measure_texture",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'surfscan.procedures' has no attribute {name!r}")
    return getattr(import_module(f"surfscan.procedures.{_HOME[name]}"), name)
