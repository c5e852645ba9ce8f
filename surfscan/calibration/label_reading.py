"""Reading text in a small part of a picture: character recognition, offline, from the extra `ocr`.

The models come with the library's wheel: nothing is fetched. The window is read in several renderings
(sizes, grey, two-level, distance from the colour of the bar), because one rendering alone now and then
loses a digit; what they agree on is judged in `surfscan.calibration.bar_scale`.
"""

from __future__ import annotations

import importlib.util
import warnings
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

INSTALL = 'pip install "surfscan[ocr]"'

_SIZES = (1.0, 0.65, 0.42)  # of the largest rendering: letters come out some 20 to 80 px high in one of them
_HIGHEST_PX, _WIDEST_PX = 420, 1400  # a window is brought to this size at most
_MAGNIFIED = 5.0


@dataclass(frozen=True)
class ReadText:
    """One line of text as recognised in one rendering of a window.

    Attributes
    ----------
    text : str
    box : tuple of int
        (row0, row1, col0, col1) in the picture, ends excluded.
    score : float
        Recognition's own score, 0 to 1.
    rendering : int
        Number of the rendering that it was read in.
    """

    text: str
    box: tuple[int, int, int, int]
    score: float
    rendering: int


def why_unreadable() -> str | None:
    """Why no label can be read on this machine, with what to do; None where it can."""
    missing = [name for name in ("rapidocr", "onnxruntime") if importlib.util.find_spec(name) is None]
    if missing:
        return f"Reading labels needs the extra ocr ({' and '.join(missing)} missing): {INSTALL}"
    if _models() is None:
        return f"The models of character recognition are missing: install it again, {INSTALL}"
    return None


def read_labels(
    pixels: np.ndarray,
    window: tuple[int, int, int, int] | None = None,
    *,
    ink: np.ndarray | None = None,
    only_first: bool = False,
) -> list[ReadText]:
    """Read the text in a window of a picture, in several renderings.

    Parameters
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3)
        uint8.
    window : tuple of int, optional
        (row0, row1, col0, col1), ends excluded; the whole picture where not given.
    ink : ndarray of shape (1,) or (3,), optional
        Level or colour of the bar, which its label often shares: a rendering shows the distance from it.
    only_first : bool
        Read one rendering alone, the largest of the picture as it is, in a sixth of the time.

    Returns
    -------
    list of ReadText
        Of all renderings, in the order of renderings and then as recognition found them. Empty where there is
        no text, and where the extra is missing: `why_unreadable` tells the two apart.

    Raises
    ------
    ValueError
        If the pixels are not uint8, or the window is empty.
    """
    if pixels.dtype != np.uint8:
        raise ValueError(f"text is read on uint8 pixels, not {pixels.dtype}")
    row0, row1, col0, col1 = window or (0, pixels.shape[0], 0, pixels.shape[1])
    part = pixels[row0:row1, col0:col1]
    if part.size == 0:
        raise ValueError(f"the window {window} holds no pixel")
    engine = None if why_unreadable() else _engine()
    if engine is None:
        return []
    found = []
    for number, (picture, factor) in enumerate(_renderings(part, ink)[: 1 if only_first else None]):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            answer = engine(picture)
        if answer.boxes is None:
            continue
        for corners, text, score in zip(answer.boxes, answer.txts, answer.scores, strict=True):
            cols, rows = np.asarray(corners, float).T / factor
            box = (
                row0 + int(np.floor(rows.min())),
                row0 + int(np.ceil(rows.max())),
                col0 + int(np.floor(cols.min())),
                col0 + int(np.ceil(cols.max())),
            )
            found.append(ReadText(str(text), box, float(score), number))
    return found


def is_plain(rendering: int) -> bool:
    """Whether a rendering shows the picture as it is, not the distance from the ink or two levels."""
    return rendering % 2 == 0


def _renderings(part: np.ndarray, ink: np.ndarray | None) -> list[tuple[np.ndarray, float]]:
    """Pictures for recognition (three channels, text dark or light), and their magnification."""
    import cv2

    grey = part if part.ndim == 2 else cv2.cvtColor(np.ascontiguousarray(part), cv2.COLOR_RGB2GRAY)
    apart = _from_ink(part, ink) if ink is not None else grey
    pictures = []
    largest = min(_HIGHEST_PX / part.shape[0], _WIDEST_PX / part.shape[1], _MAGNIFIED)
    for size_share in _SIZES:
        factor = largest * size_share
        size = (max(32, round(part.shape[1] * factor)), max(32, round(part.shape[0] * factor)))
        how = cv2.INTER_CUBIC if factor > 1 else cv2.INTER_AREA
        plain = cv2.resize(np.ascontiguousarray(part), size, interpolation=how)
        pictures.append((plain if plain.ndim == 3 else cv2.cvtColor(plain, cv2.COLOR_GRAY2BGR), factor))
        level = cv2.resize(np.ascontiguousarray(apart), size, interpolation=how)
        if ink is None:
            _, level = cv2.threshold(level, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
            if np.median(level) < 128:
                level = 255 - level
        pictures.append((cv2.cvtColor(level, cv2.COLOR_GRAY2BGR), factor))
    return pictures


def _from_ink(part: np.ndarray, ink: np.ndarray) -> np.ndarray:
    """Largest difference of a channel from the ink, stretched so that ink is black and all else light."""
    channels = part[..., None] if part.ndim == 2 else part
    away = np.abs(channels.astype(np.int16) - np.asarray(ink, np.int16)).max(axis=2)
    return np.clip(away * 3, 0, 255).astype(np.uint8)


def _models() -> tuple[Path, Path] | None:
    """Detection and recognition models in the library's own folder; None where one is missing."""
    home = importlib.util.find_spec("rapidocr")
    if home is None or home.origin is None:
        return None
    folder = Path(home.origin).parent / "models"
    detection, recognition = sorted(folder.glob("*det*.onnx")), sorted(folder.glob("*rec*.onnx"))
    return (detection[0], recognition[0]) if detection and recognition else None


@lru_cache(maxsize=1)
def _engine() -> Any:
    """Recognition, loaded once a process; one thread, so that a label reads alike on any machine."""
    models = _models()
    if models is None:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from rapidocr import RapidOCR

        return RapidOCR(
            params={
                "Global.log_level": "critical",
                "Global.use_cls": False,
                "Global.text_score": 0.3,
                "Det.model_path": str(models[0]),
                "Rec.model_path": str(models[1]),
                "Det.limit_type": "max",
                "Det.limit_side_len": _WIDEST_PX,
                "EngineConfig.onnxruntime.intra_op_num_threads": 1,
                "EngineConfig.onnxruntime.inter_op_num_threads": 1,
            }
        )
