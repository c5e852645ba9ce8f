"""The loaders by entry point, and the choice of one by what a file holds."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from importlib.metadata import entry_points
from numbers import Integral
from pathlib import Path
from typing import Any

from surfscan.errors import InputError
from surfscan.loaders.base import LoadedImage, Loader

GROUP = "surfscan.loaders"
_HEAD_LENGTH = 4096


@cache
def find_loaders() -> tuple[tuple[Loader, ...], tuple[str, ...]]:
    """All loaders that can be used, others' before our own, each in order of name.

    Others come first so that they can take over a special kind of a format that is read anyway.

    Returns
    -------
    loaders : tuple of Loader
    problems : tuple of str
        One line for each registered loader that could not be brought up.
    """
    found = {(e.value.startswith("surfscan.loaders."), e.name, e.value): e for e in entry_points(group=GROUP)}
    loaders, problems = [], []
    for (_, name, value), entry in sorted(found.items()):
        try:
            loaders.append(entry.load()())
        except Exception as error:  # somebody else's code: whatever it raises, the others still work
            problems.append(
                f"Loader {name!r} ({value}) could not be used: {type(error).__name__}: {error}. "
                "Update or uninstall the package that brings it."
            )
    return tuple(loaders), tuple(problems)


def load(path: Path, page: int | None = None) -> LoadedImage:
    """Read one image with the loader that recognises the file's content.

    Parameters
    ----------
    path : Path
    page : int or None
        Page of a multi-page file, first page 0.

    Raises
    ------
    InputError
        Whatever is wrong with the file.
    """
    _check_page(path, page)
    head = _read_head(path)
    loaders, problems = find_loaders()
    for loader in loaders:
        try:
            if not loader.recognises(head):
                continue
            loaded = loader.load(path, page)
            _check(path, loader, loaded)
        except InputError:
            raise
        except MemoryError:
            raise InputError(
                path, "there is not enough memory to open the image", "Cut it into smaller fields"
            ) from None
        except Exception as error:  # decoders raise anything on damaged data
            raise InputError(
                path,
                f"the file is damaged or of a kind that is not read "
                f"({loader.formats} loader: {type(error).__name__}: {error})",
                "Copy or export the file again",
            ) from error
        return replace(loaded, warnings=(*problems, *loaded.warnings))
    formats = ", ".join(loader.formats for loader in loaders) or "none: install surfscan to register them"
    text = " (it holds text)" if _looks_like_text(head) else ""
    raise InputError(
        path,
        f"the content is of no format that surfscan reads{text}",
        " ".join((f"Formats read: {formats}.", "Export the image as TIFF or PNG.", *problems)),
    )


def _check_page(path: Path, page: Any) -> None:
    if page is not None and (isinstance(page, bool) or not isinstance(page, Integral) or int(page) < 0):
        raise InputError(path, f"page {page!r} is not a page number", "Pages count 0, 1, 2, ...")


def _read_head(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise InputError(path, "this is a folder, not an image", "Name a file in it")
        if path.exists() and not path.is_file():
            raise InputError(path, "this is not a regular file", "Name an image file")
        with path.open("rb") as file:
            head = file.read(_HEAD_LENGTH)
    except FileNotFoundError:
        raise InputError(path, "there is no such file", "Check the name and the folder") from None
    except (OSError, ValueError) as error:
        raise InputError(
            path, f"the file cannot be read ({error})", "Check the name and the rights"
        ) from error
    if not head:
        raise InputError(path, "the file is empty (0 bytes)", "Copy or export the file again")
    return head


def _check(path: Path, loader: Loader, loaded: LoadedImage) -> None:
    shape = loaded.pixels.shape
    if loaded.pixels.size == 0 or not (len(shape) == 2 or (len(shape) == 3 and shape[2] == 3)):
        raise InputError(
            path,
            f"the {loader.formats} loader gave an array of shape {shape}; needed are (rows, columns) or "
            "(rows, columns, 3)",
            "Export the image again, in grey or RGB",
        )


def _looks_like_text(head: bytes) -> bool:
    return not any(byte < 9 or 13 < byte < 32 for byte in head)
