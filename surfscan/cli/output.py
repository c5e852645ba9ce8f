"""Files a command writes: whole or not at all."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import numpy as np

from surfscan.errors import InputError


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A temporary name beside `path` to write to; it takes the place of `path` only if all went well.

    Raises
    ------
    InputError
        If the folder is missing or cannot be written to, or `path` is a folder.
    """
    _check_place(path)
    draft = path.with_name(f".{path.name}.{uuid4().hex[:8]}.part")
    try:
        yield draft
        draft.replace(path)
    except OSError as fault:
        reason = fault.strerror or str(fault)
        raise InputError(path, f"cannot be written ({reason})", "Check permissions and free space") from fault
    finally:
        draft.unlink(missing_ok=True)


def refuse_unwritable(image: Path, outputs: Sequence[Path | None]) -> None:
    """Stop before any work where an output has no place to go or would replace something of this command.

    Raises
    ------
    InputError
        If an output names the input image, a folder or a missing folder, or two outputs name one file.
    """
    taken = {image.resolve(): "the image itself"}
    for output in outputs:
        if output is None or str(output) == "-":
            continue
        if output.resolve() in taken:
            raise InputError(output, f"would overwrite {taken[output.resolve()]}", "Give it another name")
        _check_place(output)
        taken[output.resolve()] = "another output of this command"


def _check_place(path: Path) -> None:
    if path.is_dir():
        raise InputError(path, "is a folder, so no file of that name can be written", "Name a file in it")
    if not path.parent.is_dir():
        raise InputError(path, f"the folder {path.parent} does not exist", "Create it first, or name another")


def write_text(path: Path, text: str) -> None:
    """Write UTF-8 text to a file, or to standard output where `path` is '-'."""
    if str(path) == "-":
        sys.stdout.buffer.write(text.encode("utf-8"))
        sys.stdout.buffer.flush()
        return
    with whole_file(path) as draft:
        draft.write_text(text, encoding="utf-8", newline="\n")


def write_labels(path: Path, labels: np.ndarray) -> None:
    """Write a label image or class map as a losslessly compressed TIFF.

    Parameters
    ----------
    path : Path
    labels : ndarray of shape (M, N), integer
    """
    import tifffile

    with whole_file(path) as draft:
        tifffile.imwrite(
            draft,
            labels,
            compression="zlib",
            compressionargs={"level": 1},
            photometric="minisblack",
            metadata=None,
        )
