"""What has to be measured on one image, and the fingerprint that tells whether it has been."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from surfscan._version import __version__
from surfscan.procedures.settings import DegradedSettings, PitSettings
from surfscan.study.manifest import ImageEntry

PROCEDURES = {
    "pits": "surfscan.procedures:measure_pits",
    "degraded": "surfscan.procedures:measure_degraded",
}
"""Procedure -> its function as ``module:name``, imported only where it runs."""


@dataclass(frozen=True)
class Job:
    """One procedure to run on an image.

    Attributes
    ----------
    procedure : str
        "pits" or "degraded".
    function : str
        ``module:name`` of the procedure, called with the image, `settings` and ``region=``.
    settings : PitSettings or DegradedSettings
    fingerprint : str
        See `fingerprint`.
    """

    procedure: str
    function: str
    settings: PitSettings | DegradedSettings
    fingerprint: str


@dataclass(frozen=True)
class ImageTask:
    """An image to measure: names only, so that it costs nothing to hand to a worker process.

    Attributes
    ----------
    folder : Path
        Folder of the study, absolute.
    image : ImageEntry
    sha256 : str
        SHA-256 of the image file when the task was made, hex.
    jobs : tuple of Job
    """

    folder: Path
    image: ImageEntry
    sha256: str
    jobs: tuple[Job, ...]


def fingerprint(
    image: ImageEntry,
    procedure: str,
    settings: PitSettings | DegradedSettings,
    sha256: str,
    region_sha256: str | None,
    version: str = __version__,
) -> str:
    """SHA-256 over all that decides a result: two equal fingerprints mean two equal results.

    Parameters
    ----------
    image : ImageEntry
        Its page, stated pixel size and what it shows enter; specimen, condition and notes do not, since
        they change no figure of the image.
    procedure : str
    settings : PitSettings or DegradedSettings
        Every field enters, defaults included.
    sha256 : str
        Of the image file, hex.
    region_sha256 : str or None
        Of the mask of the specimen region; None where none is given.
    version : str
        Version of surfscan.

    Returns
    -------
    str
        Hex.
    """
    decisive = {
        "image": sha256,
        "page": image.page,
        "pixel_size_um": image.pixel_size_um,
        "procedure": procedure,
        "region": region_sha256,
        "settings": settings.model_dump(mode="json"),
        "shows": image.shows,
        "version": version,
    }
    return hashlib.sha256(json.dumps(decisive, sort_keys=True).encode()).hexdigest()
