"""Masks as compressed label TIFFs, named after their content and checked by SHA-256."""

from __future__ import annotations

import hashlib
import io
import os
import re
import uuid
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import numpy as np

from surfscan.errors import InputError

FOLDER = "masks"
_TEMPORARY = re.compile(r"surfscan-[^/\\]+\.tif\.part")
_OURS = re.compile(r".+-[0-9a-f]{8}_[a-z_]+_[a-z_]+_[0-9a-f]{16}\.tif")


@dataclass(frozen=True)
class StagedMask:
    """A mask written under a temporary name, not yet part of the store.

    Attributes
    ----------
    name : str
        "pits", "region", ...
    temporary : Path
        Where it waits.
    file_name : str
        Its name in `masks/` once the result is committed. It carries the content's checksum, so that
        a new mask never overwrites the one that an older result still needs.
    sha256 : str
        SHA-256 of the file, hex.
    """

    name: str
    temporary: Path
    file_name: str
    sha256: str


def file_sha256(path: Path) -> str:
    """SHA-256 of a file, hex."""
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def stage_mask(folder: Path, image_id: str, procedure: str, name: str, mask: np.ndarray) -> StagedMask:
    """Write a mask under a temporary name in `folder`/masks.

    Parameters
    ----------
    folder : Path
        Folder of the study.
    image_id, procedure, name : str
        What the mask belongs to.
    mask : ndarray of shape (M, N), bool or integer
        Labels are stored in the smallest unsigned type that holds them, bool as 0 and 1.

    Returns
    -------
    StagedMask
    """
    content = encode_mask(mask)
    sha256 = hashlib.sha256(content).hexdigest()
    (folder / FOLDER).mkdir(exist_ok=True)
    temporary = folder / FOLDER / f"surfscan-{uuid.uuid4().hex}.tif.part"
    with temporary.open("xb") as handle:
        handle.write(content)
        handle.flush()
        os.fsync(handle.fileno())
    return StagedMask(name, temporary, f"{file_stem(image_id)}_{procedure}_{name}_{sha256[:16]}.tif", sha256)


def file_stem(image_id: str) -> str:
    """How the files of an image begin: its name, and 8 digits that tell images of one name apart."""
    stem = re.sub(r"[^A-Za-z0-9.-]+", "-", PurePosixPath(image_id).stem)[:60] or "image"
    return f"{stem}-{hashlib.sha256(image_id.encode()).hexdigest()[:8]}"


def encode_mask(mask: np.ndarray) -> bytes:
    """A mask as label TIFF: the same mask gives the same bytes.

    Parameters
    ----------
    mask : ndarray of shape (M, N), bool or integer
        Labels are stored in the smallest unsigned type that holds them, bool as 0 and 1.

    Raises
    ------
    ValueError
        If a label is negative.
    """
    import tifffile

    content = io.BytesIO()
    tifffile.imwrite(
        content, _smallest(mask), compression="zlib", metadata=None, software=False, rowsperstrip=64
    )
    return content.getvalue()


def _smallest(mask: np.ndarray) -> np.ndarray:
    if mask.dtype == bool:
        return mask.astype(np.uint8)
    if mask.size and int(mask.min()) < 0:
        raise ValueError("a label image has no negative labels")
    top = int(mask.max()) if mask.size else 0
    return mask.astype(np.uint8 if top < 2**8 else np.uint16 if top < 2**16 else np.uint32)


def read_mask(path: Path, sha256: str) -> np.ndarray:
    """Read a mask back, shape (M, N), unsigned integers.

    Raises
    ------
    InputError
        If the file is missing or is no longer the one that was measured.
    """
    import tifffile

    fault = mask_fault(path, sha256)
    if fault:
        raise InputError(
            path, fault, "Run 'surfscan measure' again: it keeps a changed file and measures the image anew"
        )
    return np.asarray(tifffile.imread(path))


def mask_fault(path: Path, sha256: str) -> str | None:
    """What is wrong with a stored mask; None where nothing is."""
    if not path.is_file():
        return "this mask is missing"
    if file_sha256(path) != sha256:
        return "this mask was changed since it was measured (its checksum does not match)"
    return None


def place_mask(folder: Path, staged: StagedMask) -> Path | None:
    """Give a staged mask its final name; returns where a changed file of that name was kept, if any."""
    target = folder / FOLDER / staged.file_name
    kept = None
    if target.exists() and file_sha256(target) != staged.sha256:
        kept = free_name(target, "changed")
        target.rename(kept)
    staged.temporary.replace(target)
    return kept


def free_name(path: Path, word: str) -> Path:
    """The first unused name of the form ``STEM-WORD-1.SUFFIX`` beside `path`."""
    number = 1
    while (candidate := path.with_name(f"{path.stem}-{word}-{number}{path.suffix}")).exists():
        number += 1
    return candidate


def own_files(folder: Path) -> list[Path]:
    """Mask files in `folder`/masks that a store named; a user's own files are not among them."""
    return [p for p in sorted((folder / FOLDER).glob("*.tif")) if _OURS.fullmatch(p.name)]


def temporary_files(folder: Path) -> list[Path]:
    """Mask files that a killed run left half written."""
    return [p for p in sorted((folder / FOLDER).glob("*.part")) if _TEMPORARY.fullmatch(p.name)]
