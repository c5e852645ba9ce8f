"""The command that opens a study in the viewer. Nothing heavy, and no screen, is imported before it runs."""

from __future__ import annotations

import os
import sys
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import typer

from surfscan.cli.study_commands import Study
from surfscan.errors import InputError

_VIEWER = "napari_surfscan.launch"
_NEEDED = ("napari", "qtpy", "napari_surfscan")
_QT = ("PySide6", "PyQt6")
_NO_SCREEN = ("offscreen", "minimal", "vnc", "linuxfb")


def review(
    study: Study,
    specimen: Annotated[
        str, typer.Argument(metavar="[SPECIMEN]", help="Specimen, or image file, to begin with.")
    ] = "",
) -> None:
    """Open a study in the viewer: look, correct, sign."""
    image_id = first_image(study, specimen)
    refuse_without_viewer()
    import_module(_VIEWER).review(study, image_id)


def first_image(path: Path, wanted: str) -> str:
    """Image to begin with: of the specimen named, or itself named; empty where nothing is asked for.

    Raises
    ------
    InputError
        If the study cannot be read, or names no such specimen or image.
    """
    from difflib import get_close_matches

    from surfscan.study.manifest import load_study

    study = load_study(path)
    if not wanted:
        return ""
    by_name = {entry.image_id: entry.image_id for entry in reversed(study.images)}
    by_name |= {entry.specimen: entry.image_id for entry in reversed(study.images)}
    if wanted in by_name:
        return by_name[wanted]
    if wanted in {specimen.id for specimen in study.specimens}:
        raise InputError(path, f"specimen {wanted!r} has no image", "Name one that has")
    near = get_close_matches(wanted, sorted(by_name), 1, 0.5)
    remedy = f"Did you mean {near[0]!r}?" if near else "Name a specimen or an image of study.toml"
    raise InputError(path, f"there is no specimen or image {wanted!r}", remedy)


def refuse_without_viewer() -> None:
    """Stop where the viewer cannot be started, and say what is missing.

    Raises
    ------
    InputError
    """
    missing = [name for name in _NEEDED if find_spec(name) is None]
    if all(find_spec(name) is None for name in _QT):
        missing.append(" or ".join(_QT))
    if missing:
        raise InputError(
            None,
            f"the viewer is not installed (missing: {', '.join(missing)})",
            'Install it with: pip install "surfscan[viewer]"',
        )
    platform = os.environ.get("QT_QPA_PLATFORM", "").partition(":")[0]
    if platform in _NO_SCREEN:
        raise InputError(
            None,
            f"the viewer needs a screen, and QT_QPA_PLATFORM={platform} has none",
            "Unset QT_QPA_PLATFORM",
        )
    named = any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY"))
    if sys.platform.startswith("linux") and not named:
        raise InputError(
            None,
            "the viewer needs a screen, and there is none (neither DISPLAY nor WAYLAND_DISPLAY is set)",
            "Start it from a desktop, or over SSH with a forwarded display (ssh -X), or in a virtual one "
            "(xvfb-run)",
        )
