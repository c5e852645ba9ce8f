"""Decoding PNG, JPEG and BMP with OpenCV, quietly, and putting channels in order."""

from __future__ import annotations

import os
import re
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from surfscan.errors import InputError

_stderr_lock = threading.Lock()
_DECODER_LINE = re.compile(
    r"libpng|JPEG|JFIF|Adobe color|Inconsistent progression|OpenCV|global .*\.cpp|\[ *(WARN|ERROR)"
)
_COLOUR_PROFILE = re.compile(r"iCCP|sRGB|gAMA|cHRM|cICP|OpenCV|\.cpp")


@contextmanager
def _decoder_messages() -> Iterator[list[str]]:
    """Collect what the C decoders print on file descriptor 2: their only way to report damaged data.

    Lines of anybody else that arrive meanwhile are passed on.
    """
    lines: list[str] = []
    with _stderr_lock:
        try:
            kept = os.dup(2)
        except OSError:  # no standard error at all, as under a windowed Python: nothing to keep quiet
            yield lines
            return
        with tempfile.TemporaryFile() as caught:
            if sys.stderr is not None and not sys.stderr.closed:
                sys.stderr.flush()
            os.dup2(caught.fileno(), 2)
            try:
                yield lines
            finally:
                os.dup2(kept, 2)
                os.close(kept)
                caught.seek(0)
                previous_is_decoders = False
                for raw in caught.read().splitlines(keepends=True):
                    line = raw.decode("utf-8", "replace").strip()
                    if _DECODER_LINE.search(line):
                        lines.append(line)
                        previous_is_decoders = True
                    elif line or not previous_is_decoders:  # a decoder's line may end in an empty one
                        os.write(2, raw)
                        previous_is_decoders = False


def decode(path: Path, data: bytes) -> tuple[np.ndarray, list[str]]:
    """Decode the bytes of a PNG, JPEG or BMP file as they are: no rotation, no colour management.

    Returns
    -------
    pixels : ndarray of shape (M, N), (M, N, 3) or (M, N, 4)
        In OpenCV's channel order: blue, green, red, alpha.
    messages : list of str
        What the decoder complained of; remarks on colour profiles, which are not used, left out.

    Raises
    ------
    InputError
        If nothing could be decoded.
    """
    import cv2

    with _decoder_messages() as messages:
        try:
            pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
        except cv2.error as error:
            pixels = None
            messages.append(str(error.err))
    if pixels is None or pixels.size == 0:
        said = "; ".join(dict.fromkeys(messages)) or "the decoder gives no reason"
        raise InputError(path, f"the image cannot be decoded ({said})", "Export or copy the image again")
    return pixels, [m for m in dict.fromkeys(messages) if not _COLOUR_PROFILE.search(m)]


def to_rgb(pixels: np.ndarray, *, grey: bool = False) -> tuple[np.ndarray, bool]:
    """Grey or RGB from OpenCV's channel order; alpha is dropped.

    Parameters
    ----------
    pixels : ndarray of shape (M, N), (M, N, 3) or (M, N, 4)
    grey : bool
        Whether the channels are known to be equal: one is kept.

    Returns
    -------
    pixels : ndarray of shape (M, N) or (M, N, 3)
    opaque : bool
        Whether there was no alpha or it was full everywhere.
    """
    import cv2

    if pixels.ndim == 2:
        return pixels, True
    opaque = pixels.shape[2] < 4 or bool(pixels[..., 3].min() == np.iinfo(pixels.dtype).max)
    if grey:
        return np.ascontiguousarray(pixels[..., 0]), opaque
    if pixels.shape[2] == 4:
        return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGRA2RGB)), opaque
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB, dst=pixels)), opaque


ALPHA_DROPPED = "The image has an alpha channel that is not opaque everywhere; it was dropped."
