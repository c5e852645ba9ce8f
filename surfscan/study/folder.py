"""Which files of a study's folder are pictures or height maps, told by their content, and which our own."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from surfscan.loaders import Loader, find_loaders
from surfscan.store import corrections, masks
from surfscan.study.text_files import text_files

_OURS = ("tables", "results-set-aside-*")
_HEAD_LENGTH = 4096
_IMAGE_SUFFIXES = (".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".btf", ".sdf", ".x3p")


def find_images(folder: Path) -> list[Path]:
    """Every picture and height map in a folder and the folders within it, in order of name.

    Left out are hidden files, what `surfscan measure` and `surfscan report` wrote, saved corrections, and
    folders that hold a study of their own.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    list of Path
    """
    loaders, _ = find_loaders()
    return sorted(path for path in _files(folder) if _is_image(path, loaders))


def find_false_images(folder: Path) -> list[Path]:
    """Files in the same folders that are named as images and hold none, in order of name."""
    loaders, _ = find_loaders()
    named = (path for path in _files(folder) if path.suffix.lower() in _IMAGE_SUFFIXES)
    return sorted(path for path in named if not _is_image(path, loaders))


def find_texts(folder: Path) -> list[Path]:
    """Files in the same folders that are named as text, in order of name."""
    return text_files(_files(folder))


def _files(folder: Path) -> Iterator[Path]:
    for root, folders, files in os.walk(folder):
        here = Path(root)
        folders[:] = [name for name in folders if not _is_left_out(here / name)]
        own = set(masks.own_files(here.parent)) if here.name == masks.FOLDER else set()
        own |= set(corrections.own_files(here.parent)) if here.name == corrections.FOLDER else set()
        for path in (here / name for name in files if not name.startswith(".")):
            if path not in own and path.is_file():
                yield path


def _is_image(path: Path, loaders: Sequence[Loader]) -> bool:
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_LENGTH)
    except OSError:
        return True  # nobody can tell; opening it will say why
    return any(loader.recognises(head) for loader in loaders)


def _is_left_out(folder: Path) -> bool:
    return (
        folder.name.startswith(".")
        or any(folder.match(pattern) for pattern in _OURS)
        or (folder / "study.toml").is_file()
    )
