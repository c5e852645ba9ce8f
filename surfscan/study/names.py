"""What file names tell: specimen, field, exposure, condition. Guesses, for a person to confirm."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Literal

_EXPOSURE = re.compile(
    r"(?<![A-Za-z0-9.,])(\d+(?:[.,]\d+)?)(h|hr|hrs|hours?|d|days?|w|wk|weeks?)(?![A-Za-z0-9])",
    re.IGNORECASE,
)
_HOURS = {"h": 1.0, "d": 24.0, "w": 168.0}
_AS_RECEIVED = re.compile(r"as[ _-]?received|(?<![A-Za-z])blank(?![A-Za-z])", re.IGNORECASE)
_CLEANED = re.compile(r"(?<![A-Za-z])cleaned(?![A-Za-z])", re.IGNORECASE)
_PRODUCT = re.compile(r"(?<![A-Za-z])(?:with[ _-]?)?product(?![A-Za-z])", re.IGNORECASE)
_WORST = re.compile(r"(?<![A-Za-z])worst(?:[ _-]?seen)?(?![A-Za-z])", re.IGNORECASE)
_FIELD = re.compile(
    r"[a-z]|(?:field|fld|f|image|img|pos|position|site|spot|area|view|no|nr|heights?|map|h)?-?\d{1,4}|\d+x|"
    r"worst(?:[-]?seen)?|(?:with-?)?product|cleaned|before|after|surface|top|bottom|heights?|height-?map",
    re.IGNORECASE,
)
_REPLICATE = (re.compile(r"(.+?)[\s_-]+\d+"), re.compile(r"(.*[^\d\s_-])\d+"))
_ROLE_WORDS = {
    "region": "region|mask",
    "datum": "datum",
    "unexposed": "unexposed",
    "before": "before",
    "side_view": "side(?:[ _-]?view)?",
    "thickness_map": "thickness(?:[ _-]?map)?|stage",
    "twin": "twin",
}
_COMPANION = re.compile(
    rf"(.+?)[ _-](?:{'|'.join(f'(?P<{role}>{words})' for role, words in _ROLE_WORDS.items())})", re.IGNORECASE
)
_SECTION = "(?:cross[ _-]?)?sections?|cuts?"
_STRUT = "struts?|mesh(?:es)?|crossings?"
_PART_WORDS: dict[Literal["strut", "section"], re.Pattern[str]] = {
    "section": re.compile(rf"(?<![A-Za-z])(?:{_SECTION})(?![A-Za-z])", re.IGNORECASE),
    "strut": re.compile(rf"(?<![A-Za-z])(?:{_STRUT})(?![A-Za-z])", re.IGNORECASE),
}
_PART = re.compile(rf"{_SECTION}|{_STRUT}", re.IGNORECASE)
_REGION_FOLDER = re.compile(r"(?:.*[ _-])?(?:masks?|regions?)", re.IGNORECASE)


@dataclass(frozen=True)
class NameGuess:
    """What the name of one image suggests.

    Attributes
    ----------
    specimen : str
    field : str
        What tells the images of one specimen apart; may be empty.
    shows : "strut", "section" or None
        Where a word of name or folder says so.
    group : str
        The specimen's name without its replicate number.
    exposure_h : float or None
    condition : str
        As in the manifest; "not_stated" where the name does not tell.
    worst_seen : bool
    is_number_unclear : bool
        Whether a last number could as well count fields as specimens.
    """

    specimen: str
    field: str
    shows: Literal["strut", "section"] | None
    group: str
    exposure_h: float | None
    condition: str
    worst_seen: bool
    is_number_unclear: bool


def stem_of(file: str) -> str:
    """The name without folders and without suffixes: ``images/U07-1_a.ome.tif`` -> ``U07-1_a``."""
    name = PurePosixPath(file).name
    while len(suffix := PurePosixPath(name).suffix) in range(2, 6) and suffix[1:].isalnum():
        if suffix[1:].isdigit():
            break  # a decimal number, not a suffix
        name = name.removesuffix(suffix)
    return name


def companion_of(file: str) -> tuple[str, str] | None:
    """Stem of the image that a file belongs to, and as what; None for what stands by itself by its name.

    Masks of the specimen region are named ``STEM_region`` or ``STEM_mask``, or as the image in a folder such
    as ``masks/``; what never corroded is marked in ``STEM_datum``, the surface before exposure is
    ``STEM_unexposed``. Of struts and sections ``STEM_before`` is the picture before exposure, ``STEM_twin``
    an unexposed section; ``STEM_side`` shows struts from the side, ``STEM_stage`` or ``STEM_thickness`` are
    heights of a strut on a stage.

    Examples
    --------
    >>> companion_of("heights/U07-1_h_unexposed.x3p")
    ('U07-1_h', 'unexposed')
    """
    match = _COMPANION.fullmatch(stem_of(file))
    if match:
        return match[1], str(match.lastgroup)
    return (stem_of(file), "region") if is_in_mask_folder(file) else None


def stems_owned(file: str) -> list[str]:
    """Stems by which companions may name an image: its own, and that without exposure and what it shows.

    Examples
    --------
    >>> stems_owned("struts/U07-1_strut_28d.png")
    ['U07-1_strut_28d', 'U07-1_strut', 'U07-1']
    """
    stems = [stem_of(file)]
    for pattern in (_EXPOSURE.pattern, rf"(?:{_PART.pattern})"):
        bare = re.fullmatch(rf"(.+?)[ _-]+{pattern}", stems[-1], re.IGNORECASE)
        if bare:
            stems.append(bare[1])
    return stems


def is_in_mask_folder(file: str) -> bool:
    """Whether the file's folder is named as one of masks: ``masks``, ``regions``, ``specimen_mask`` ..."""
    return bool(_REGION_FOLDER.fullmatch(PurePosixPath(file).parent.name))


def guess(file: str) -> NameGuess:
    """Read the name of an image.

    Parameters
    ----------
    file : str
        Path relative to the study, with forward slashes; the folders are read where the name falls short.

    Returns
    -------
    NameGuess
    """
    path, stem = PurePosixPath(file), stem_of(file)
    parts = [part for part in re.split(r"[_ ]+", stem) if part]
    kept = len(parts)
    while kept > 0 and (_FIELD.fullmatch(parts[kept - 1]) or (kept > 1 and _PART.fullmatch(parts[kept - 1]))):
        kept -= 1
    unclear = False
    if kept == 0 and path.parent.name and len(parts) > 0:
        specimen, field = path.parent.name, stem
    elif kept == 0:
        specimen, field = stem, ""
    else:
        bare = _EXPOSURE.sub("", "_".join(parts[:kept]))
        if kept < len(parts) and parts[kept].isdigit() and not re.search(r"\d", bare):
            kept += 1  # nothing else numbers the specimen
            unclear = kept == len(parts)
        specimen, field = "_".join(parts[:kept]), "_".join(parts[kept:])
    return NameGuess(
        specimen=specimen,
        field=field,
        shows=_shows(path),
        group=group_of(specimen),
        exposure_h=_exposure(file),
        condition=_condition(file),
        worst_seen=bool(_WORST.search(stem)),
        is_number_unclear=unclear,
    )


def group_of(specimen: str) -> str:
    """A specimen's name without its replicate number: ``U07-1`` -> ``U07``, ``plate3_7d`` -> ``plate_7d``."""
    exposures = list(_EXPOSURE.finditer(specimen))
    if exposures and exposures[-1].end() == len(specimen) and (start := exposures[-1].start()) > 1:
        return group_of(specimen[: start - 1]) + specimen[start - 1 :]
    for pattern in _REPLICATE:
        if match := pattern.fullmatch(specimen):
            return match[1]
    return specimen


def _shows(path: PurePosixPath) -> Literal["strut", "section"] | None:
    """What the name says the image shows, else what the nearest folder does that says anything."""
    for part in (stem_of(path.name), *(folder.name for folder in path.parents)):
        for shows, words in _PART_WORDS.items():
            if words.search(part):
                return shows
    return None


def _exposure(file: str) -> float | None:
    if _AS_RECEIVED.search(file):
        return 0.0
    found = list(_EXPOSURE.finditer(file))
    if not found:
        return None
    return float(found[-1][1].replace(",", ".")) * _HOURS[found[-1][2][0].lower()]


def _condition(file: str) -> str:
    if _CLEANED.search(file):
        return "cleaned"
    if _PRODUCT.search(file):
        return "with_product"
    return "as_received" if _AS_RECEIVED.search(file) else "not_stated"
