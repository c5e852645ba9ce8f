"""What has to be measured on one image, and the fingerprint that tells whether it has been."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from surfscan._version import __version__
from surfscan.errors import InputError
from surfscan.procedures.settings import SectionSettings, StrutSettings
from surfscan.store.corrections import Correction, Corrections
from surfscan.store.masks import file_sha256
from surfscan.store.results import REVIEWED
from surfscan.study.entries import COMPANIONS, ROLES, ImageEntry, Procedure, Settings, Specimen, Study
from surfscan.study.reviewed import ImageReviews, reviews_on, with_scale

PROCEDURES = {
    "pits": "surfscan.procedures:measure_pits",
    "degraded": "surfscan.procedures:measure_degraded",
    "texture": "surfscan.procedures:measure_texture",
    "struts": "surfscan.procedures:measure_struts",
    "section": "surfscan.procedures:measure_section",
}
"""Procedure -> its function as ``module:name``, imported only where it runs."""

DRAWN_SIZES = {
    "drawn_strut_width_um": "drawn_width_um",
    "drawn_thickness_um": "drawn_thickness_um",
    "drawn_shape": "drawn_shape",
    "drawn_top_width_um": "drawn_top_width_um",
}
"""Keys of a specimen -> the settings of struts and sections whose place they take."""


@dataclass(frozen=True)
class Job:
    """One procedure to run on an image.

    Attributes
    ----------
    procedure : str
        One of `PROCEDURES`, or of `surfscan.study.rate_tasks.FUNCTIONS`; with `REVIEWED` after it where a
        person's correction enters.
    function : str
        ``module:name`` of the procedure, called with the image, `settings` and what else `ROLES` names.
    settings : BaseModel
        See `settings_for`.
    fingerprint : str
        See `fingerprint`.
    correction : Correction or None
        What a person corrected.
    """

    procedure: str
    function: str
    settings: BaseModel
    fingerprint: str
    correction: Correction | None = None

    @property
    def measures(self) -> str:
        """The procedure that runs, whoever corrected its result."""
        return self.procedure.removesuffix(REVIEWED)


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
    reviews : ImageReviews
        Corrections that hold for it, and what is said of those that do not.
    """

    folder: Path
    image: ImageEntry
    sha256: str
    jobs: tuple[Job, ...]
    reviews: ImageReviews = field(default_factory=ImageReviews)

    @property
    def entry_id(self) -> str:
        """Name of the image in study and store."""
        return self.image.image_id

    @property
    def specimen(self) -> str:
        """Whose it is."""
        return self.image.specimen


def settings_for(study: Study, image: ImageEntry, procedure: Procedure) -> Settings:
    """Settings of a procedure on an image: those of the study, with what image and specimen state.

    Drawn sizes of the specimen take the place of those in the settings of struts and sections, and an angle
    of cut that the image states that of the settings.
    """
    settings = study.settings.of(procedure, image.shows)
    if isinstance(settings, StrutSettings | SectionSettings):
        return with_drawn_sizes(settings, image, study.specimen(image.specimen))
    return settings


def with_drawn_sizes(
    settings: StrutSettings | SectionSettings, image: ImageEntry, specimen: Specimen
) -> StrutSettings | SectionSettings:
    """Settings of struts or sections with what an image and its specimen state in their place."""
    stated: dict[str, Any] = {name: getattr(specimen, own) for own, name in DRAWN_SIZES.items()}
    if isinstance(settings, SectionSettings):
        stated["cut_angle_deg"] = image.cut_angle_deg
    return settings.model_copy(update={k: v for k, v in stated.items() if v is not None})


def fingerprint(
    image: ImageEntry,
    procedure: Procedure,
    settings: Settings,
    sha256: str,
    companions: Mapping[str, str | None],
    version: str = __version__,
    *,
    reviews: ImageReviews | None = None,
    correction: Correction | None = None,
) -> str:
    """SHA-256 over all that decides a result: two equal fingerprints mean two equal results.

    Parameters
    ----------
    image : ImageEntry
        Its page, stated pixel size, stated height unit and what it shows enter; specimen, condition and
        notes do not, since they change no figure of the image.
    procedure : str
    settings : Settings
        Every field enters, defaults included.
    sha256 : str
        Of the image file, hex.
    companions : mapping of str to str or None
        SHA-256 of the files that belong to it, by role; None where one is missing. Only roles that enter
        the procedure (`ROLES`) count.
    version : str
        Version of surfscan.
    reviews : ImageReviews, optional
        A scale that somebody confirmed, with who did, or rejected.
    correction : Correction, optional
        What a person corrected: all that its record says enters, and through it the mask.

    Returns
    -------
    str
        Hex.
    """
    reviews = reviews or ImageReviews()
    image = with_scale(image, reviews.scale)
    decisive = {
        "image": sha256,
        "page": image.page,
        "pixel_size_um": image.pixel_size_um,
        "procedure": procedure,
        "region": companions.get("region"),
        "settings": settings.model_dump(mode="json"),
        "shows": image.shows,
        "version": version,
    }
    given = {
        "height_unit": image.height_unit,
        **{role: companions.get(role) for role in ROLES[procedure]},
        **reviews.decisive(),
        "correction": None if correction is None else correction.sha256,
    }
    decisive |= {name: value for name, value in given.items() if value is not None}
    return hashlib.sha256(json.dumps(decisive, sort_keys=True).encode()).hexdigest()


def jobs_for(
    study: Study,
    image: ImageEntry,
    sha256: str,
    companions: Mapping[str, str | None],
    reviews: ImageReviews | None = None,
) -> tuple[Job, ...]:
    """One job for each procedure of an image, and one more for each correction of its result.

    Parameters
    ----------
    study : Study
    image : ImageEntry
    sha256 : str
        Of the image file, hex.
    companions : mapping of str to str or None
        SHA-256 of the files that belong to it, by role.
    reviews : ImageReviews, optional
        Corrections that hold for it.
    """
    reviews = reviews or ImageReviews()
    found = []
    for procedure in dict.fromkeys(image.procedures):
        settings = settings_for(study, image, procedure)
        function = PROCEDURES[procedure]
        mark = fingerprint(image, procedure, settings, sha256, companions, reviews=reviews)
        found.append(Job(procedure, function, settings, mark))
        correction = reviews.results.get(procedure)
        if correction is not None:
            mark = fingerprint(
                image, procedure, settings, sha256, companions, reviews=reviews, correction=correction
            )
            found.append(Job(procedure + REVIEWED, function, settings, mark, correction))
    return tuple(found)


def plan_image(study: Study, image: ImageEntry, corrections: Corrections | None = None) -> ImageTask:
    """All there is to measure on an image, whether it has been or not.

    Parameters
    ----------
    study : Study
    image : ImageEntry
    corrections : Corrections, optional
        Those of the study; the ones that hold for this image enter.

    Raises
    ------
    InputError
        If the image, or a file that belongs to it, is missing or cannot be read.
    """
    folder = study.folder.resolve()
    sha256 = required_sha256(folder / image.file, "image")
    companions = {
        role: required_sha256(folder / name, COMPANIONS[role]) for role, name in image.companions().items()
    }
    reviews = reviews_on(study, corrections or Corrections(), image, sha256)
    jobs = jobs_for(study, image, sha256, companions, reviews)
    return ImageTask(folder, image, sha256, jobs, reviews)


def required_sha256(path: Path, kind: str) -> str:
    """SHA-256 of a file, hex.

    Raises
    ------
    InputError
        If it is missing or cannot be read; `kind` says what it should be.
    """
    try:
        return file_sha256(path)
    except FileNotFoundError:
        raise InputError(
            path, f"the {kind} {path.name} is missing", "Correct its name in study.toml"
        ) from None
    except OSError as error:
        raise InputError(
            path, f"the {kind} {path.name} cannot be read ({error.strerror})", "Check the rights to it"
        ) from error
