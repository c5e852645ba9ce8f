"""A first `study.toml` from a folder of images, and a plain list of what it could not tell."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from surfscan.errors import InputError
from surfscan.study.folder import find_false_images, find_images
from surfscan.study.manifest import FILE_NAME
from surfscan.study.names import NameGuess, guess, is_in_mask_folder, region_owner, stem_of

_LISTED = 8
_HEAD = """\
# Drafted by surfscan from file names and metadata. Every line is a guess until you have read it:
# put right what is wrong, fill in what is marked with #, then run 'surfscan check'.
"""


@dataclass(frozen=True)
class Draft:
    """A drafted manifest.

    Attributes
    ----------
    path : Path
        The `study.toml` that was written.
    text : str
        Its content.
    could_not_tell : list of str
        What a person has to fill in or confirm, most important first.
    """

    path: Path
    text: str
    could_not_tell: list[str]


@dataclass(frozen=True)
class _Picture:
    file: str
    name: NameGuess
    region: str | None
    has_scale: bool


def draft_study(folder: str | Path, *, overwrite: bool = False) -> Draft:
    """Write a first `study.toml` for the images in a folder.

    Specimen and field are read from names such as ``U07-1_a.png``, the exposure from ``7d`` or ``168h``,
    groups from what the specimens' names have in common, masks of the specimen region from names such
    as ``U07-1_a_region.png`` or ``masks/U07-1_a.png``, the scale from metadata.

    Parameters
    ----------
    folder : path
        Searched with the folders within it.
    overwrite : bool, optional
        Replace a `study.toml` that stands there.

    Returns
    -------
    Draft

    Raises
    ------
    InputError
        If the folder is missing, holds no image that can be measured, or has a study already.
    """
    folder = Path(folder)
    path = folder / FILE_NAME
    if not folder.is_dir():
        raise InputError(folder, "there is no such folder", "Name the folder that holds the images")
    if path.exists() and not overwrite:
        raise InputError(
            path,
            "there is a study here already",
            "Nothing was changed. Edit it, or rename it first to have a new one drafted",
        )
    pictures, left_out = _pictures(folder)
    if not pictures:
        raise InputError(
            folder, "no image to measure was found here", "\n  ".join(left_out) or "Put images into it first"
        )
    unclear = [*_unclear(pictures), *left_out]
    title = folder.resolve().name.replace("_", " ").strip() or "Study"
    text = "\n".join([_HEAD, *_header(title, unclear), *_groups(pictures), *_specimens(pictures)])
    text += "\n".join(["", *_images(pictures)])
    waiting = path.with_name(f"{FILE_NAME}.part")
    waiting.write_text(text, encoding="utf-8", newline="\n")
    waiting.replace(path)
    return Draft(path, text, unclear)


def _pictures(folder: Path) -> tuple[list[_Picture], list[str]]:
    """What goes into the draft, and a line about each file that does not."""
    from surfscan.opening import open_image

    paths = sorted([*find_images(folder), *find_false_images(folder)])
    files = [path.relative_to(folder).as_posix() for path in paths]
    stems = {stem_of(file) for file in files if not is_in_mask_folder(file)}
    regions = {owner: file for file in files if (owner := region_owner(file)) in stems and owner}
    pictures, left_out = [], []
    for file in files:
        if file in regions.values():
            continue
        if is_in_mask_folder(file):
            left_out.append(f"{file} was left out: it lies in a folder of masks, and no image has its name")
            continue
        try:
            file.encode()
            image = open_image(folder / file)
        except UnicodeEncodeError:
            left_out.append(f"{file!r} was left out: its name is not valid text. Rename it")
            continue
        except InputError as error:
            left_out.append(str(InputError(file, f"left out: {error.fault}", error.remedy)))
            continue
        if not hasattr(image, "pixels"):
            left_out.append(f"{file} was left out: it holds heights, not brightness")
            continue
        has_scale = image.calibration is not None
        pictures.append(_Picture(file, guess(file), regions.get(stem_of(file)), has_scale))
    return pictures, left_out


def _unclear(pictures: Sequence[_Picture]) -> list[str]:
    questions = [
        (
            "Pixel size: no scale in the file. Add pixel_size_um, else sizes come in pixels",
            [p.file for p in pictures if not p.has_scale],
        ),
        (
            "Exposure: no hours or days in the name. Add exposure_h",
            _unique(p.name.specimen for p in pictures if p.name.exposure_h is None),
        ),
        (
            "Last number in the name: taken as the specimen's, it may be the field's",
            _unique(p.name.specimen for p in pictures if p.name.is_number_unclear),
        ),
        (
            "Condition of the surface: as received, with product or cleaned",
            [p.file for p in pictures if p.name.condition == "not_stated"],
        ),
        (
            "How the field was chosen: systematic, random or worst seen",
            [p.file for p in pictures if not p.name.worst_seen],
        ),
    ]
    lines = [f"{question} ({_listed(names)})" for question, names in questions if names]
    groups = _unique(p.name.group for p in pictures)
    lines.append(f"Groups: taken from the names, no baseline set ({_listed(groups)})")
    lines.append("Material, surface area and drawn dimensions of the specimens")
    return lines


def _header(title: str, unclear: Sequence[str]) -> list[str]:
    return [
        "# Could not tell:",
        *(re.sub(r"[\x00-\x1f\x7f]", " ", f"# - {line}") for line in unclear),
        "",
        f"title = {_quoted(title)}",
        "",
        "# [[material]]",
        '# name = "..."',
        "# density_g_per_cm3 = ...",
        '# source = "..."',
        "",
    ]


def _groups(pictures: Sequence[_Picture]) -> list[str]:
    lines = []
    for group in _unique(p.name.group for p in pictures):
        lines += ["[[group]]", f"name = {_quoted(group)}", '# baseline = "..."  # group as received', ""]
    return lines


def _specimens(pictures: Sequence[_Picture]) -> list[str]:
    lines = []
    for specimen in _unique(p.name.specimen for p in pictures):
        names = [p.name for p in pictures if p.name.specimen == specimen]
        hours = _unique(f"{n.exposure_h:g}" for n in names if n.exposure_h is not None)
        exposure = f"exposure_h = {hours[0]}" if hours else "# exposure_h = ...  # not in the names"
        if len(hours) > 1:
            exposure += f"  # the names also give {', '.join(hours[1:])}"
        lines += ["[[specimen]]", f"id = {_quoted(specimen)}", f"group = {_quoted(names[0].group)}", exposure]
        lines += ['# material = "..."', "# surface_area_mm2 = ...", ""]
    return lines


def _images(pictures: Sequence[_Picture]) -> list[str]:
    lines = []
    for picture in pictures:
        lines += ["[[image]]", f"file = {_quoted(picture.file)}"]
        lines += [f"specimen = {_quoted(picture.name.specimen)}", 'shows = "surface"']
        if not picture.has_scale:
            lines.append("# pixel_size_um = ...  # not in the file")
        if picture.name.condition == "not_stated":
            lines.append('# condition = "..."  # "as_received", "with_product" or "cleaned"')
        else:
            lines.append(f"condition = {_quoted(picture.name.condition)}")
        if picture.name.worst_seen:
            lines.append('field_choice = "worst_seen"')
        else:
            lines.append('# field_choice = "..."  # "systematic", "random" or "worst_seen"')
        if picture.region:
            lines.append(f"region = {_quoted(picture.region)}")
        lines.append("")
    return lines


def _quoted(text: str) -> str:
    """A TOML basic string: JSON's escapes are among TOML's, which also wants DEL escaped."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _unique(names: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(names))


def _listed(names: Sequence[str]) -> str:
    more = len(names) - _LISTED
    return ", ".join(names[:_LISTED]) + (f" and {more} more" if more > 0 else "")
