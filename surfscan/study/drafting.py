"""A first `study.toml` from a folder of images, and a plain list of what it could not tell."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from surfscan.errors import InputError
from surfscan.study.entries import COMPANIONS, ROLES_BY_KIND, Shows
from surfscan.study.folder import find_false_images, find_images
from surfscan.study.manifest import FILE_NAME
from surfscan.study.names import NameGuess, companion_of, guess, is_in_mask_folder, stem_of, stems_owned
from surfscan.study.rate_drafting import draft_entries, drafted_texts, unclear_of

if TYPE_CHECKING:
    from surfscan.calibration.bar_scale import ScaleReading
    from surfscan.images import HeightMap, Micrograph

_LISTED = 8
_PART_ROLES = ("before", "side_view", "thickness_map", "twin")
_ASK_FOR_SIZE = "# pixel_size_um = ...  # not in the file"
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
class _Scale:
    """What is known of an image's pixel size, and the line that says so in the draft; empty where none is."""

    known_from: Literal["file", "bar", "doubtful bar", "bar without label", "nowhere"]
    line: str = ""
    is_contradicted: bool = False


@dataclass(frozen=True)
class _Image:
    file: str
    name: NameGuess
    companions: dict[str, str]
    scale: _Scale
    shows_heights: bool
    has_height_unit: bool

    @property
    def kind(self) -> Shows:
        """What it shows: heights by its content, struts or a section by its name."""
        return "heights" if self.shows_heights else self.name.shows or "surface"


def draft_study(folder: str | Path, *, overwrite: bool = False) -> Draft:
    """Write a first `study.toml` for the pictures, height maps, sweeps and rig logs in a folder.

    Specimen and field are read from names such as ``U07-1_a.png``, the exposure from ``7d`` or ``168h``,
    groups from what the specimens' names have in common, masks of the specimen region from names such
    as ``U07-1_a_region.png`` or ``masks/U07-1_a.png``, a height map's datum and unexposed surface from
    ``U07-1_h_datum.png`` and ``U07-1_h_unexposed.x3p``, whether it shows heights and the scale from the file.
    That a picture shows struts or a section is guessed from words such as ``strut``, ``mesh`` or ``section``
    in names and folders, and what belongs to it from names such as ``U07-1_before.png``, ``U07-1_side.png``,
    ``U07-1_stage.x3p`` and ``U07-1_twin.png``. Where the file of a picture gives no scale, its scale bar is
    read: what is sure is noted, what is not is offered in a line to be confirmed. Text files that hold a
    potential sweep or a rig log are told by their content.

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
    texts = drafted_texts(folder)
    images, left_out = _sorted_out(folder, {text.file for text in texts})
    if not images and not texts:
        raise InputError(
            folder, "no image to measure was found here", "\n  ".join(left_out) or "Put images into it first"
        )
    names = [(image.name, image.kind) for image in images] + [(text.name, None) for text in texts]
    unclear = [*_unclear(images, [text.name for text in texts], unclear_of(texts)), *left_out]
    title = folder.resolve().name.replace("_", " ").strip() or "Study"
    text = "\n".join([_HEAD, *_header(title, unclear), *_groups(names), *_specimens(names)])
    text += "\n".join(["", *_images(images), *draft_entries(texts)])
    waiting = path.with_name(f"{FILE_NAME}.part")
    waiting.write_text(text, encoding="utf-8", newline="\n")
    waiting.replace(path)
    return Draft(path, text, unclear)


def _sorted_out(folder: Path, texts: set[str]) -> tuple[list[_Image], list[str]]:
    """Images of the draft, and a line about each file that is none; sweeps and logs are neither."""
    paths = sorted([*find_images(folder), *find_false_images(folder)])
    files = [file for path in paths if (file := path.relative_to(folder).as_posix()) not in texts]
    owners = {file: owner for file in files if (owner := companion_of(file))}
    named: dict[str, list[str]] = {}
    for file in files:
        if file not in owners:
            for stem in stems_owned(file):
                named.setdefault(stem, []).append(file)
    owned: dict[str, dict[str, str]] = {}
    for file, (stem, role) in owners.items():
        # What a name does not tell may turn out to be heights, which have all that a surface has, and more.
        fitting = [o for o in named.get(stem, []) if role in ROLES_BY_KIND[guess(o).shows or "heights"]]
        exact = [o for o in fitting if stem_of(o) == stem]
        for image in exact or (fitting if len(fitting) == 1 else []):
            owned.setdefault(image, {})[role] = file
    images: list[_Image] = []
    used: set[str] = set()
    left_out: dict[str, str] = {}
    for file in sorted(files, key=lambda file: file in owners):  # what stands by itself first
        if file in used:
            continue
        if is_in_mask_folder(file):
            left_out[file] = f"{file} was left out: it lies in a folder of masks, and no image has its name"
            continue
        found = _opened(folder, file)
        if isinstance(found, str):
            left_out[file] = found
            continue
        if file not in owners:
            roles = ROLES_BY_KIND[found.kind]
            mine = {role: name for role, name in owned.get(file, {}).items() if role in roles}
            used.update(mine.values())
            found = replace(found, companions=mine)
        images.append(found)
    return sorted(images, key=lambda image: image.file), [left_out[file] for file in sorted(left_out)]


def _opened(folder: Path, file: str) -> _Image | str:
    """What a file shows and what it says of its scale; a line about it where it cannot be measured."""
    from surfscan.images import HeightMap
    from surfscan.loaders import load
    from surfscan.opening import SMALL_SIDE_PX, open_image

    try:
        file.encode()
        image = open_image(folder / file, read_bar=False)
    except UnicodeEncodeError:
        return f"{file!r} was left out: its name is not valid text. Rename it"
    except InputError as error:
        return str(InputError(file, f"left out: {error.fault}", error.remedy))
    is_map = isinstance(image, HeightMap)
    if is_map and min(image.shape) < SMALL_SIDE_PX:
        return (
            f"{file} was left out: {image.shape[0]} x {image.shape[1]} numbers are too few for a field of "
            'heights. Add it by hand with shows = "heights" if they are one'
        )
    has_unit = is_map and bool(load(folder / file).height_unit)
    return _Image(file, guess(file), {}, _scale_of(image), is_map, has_unit)


def _scale_of(image: Micrograph | HeightMap) -> _Scale:
    """From the file or, in a picture, from its scale bar."""
    from surfscan.calibration.bar_scale import read_scale
    from surfscan.images import HeightMap

    known = image.calibration
    if isinstance(image, HeightMap):
        return _Scale("file") if known else _Scale("nowhere", _ASK_FOR_SIZE)
    if known is None:
        return _scale_of_bar(read_scale(image.pixels))
    reading = read_scale(image.pixels, metadata_um=known.pixel_size_x_um, only_contradiction=True)
    if not reading.contradiction:
        return _Scale("file")
    first = reading.readings[0]
    return _Scale(
        "file",
        f"# pixel_size_um = {first.pixel_size_um:.5g}  # scale bar {_in_comment(reading)}; the file says "
        f"{known.pixel_size_x_um:.5g}: look which holds",
        is_contradicted=True,
    )


def _scale_of_bar(reading: ScaleReading) -> _Scale:
    if not reading.readings:
        return _Scale("nowhere", _ASK_FOR_SIZE)
    first = reading.readings[0]
    size = f"{first.pixel_size_um:.5g}"
    if reading.calibration is not None:
        return _Scale("bar", f"# scale bar {_in_comment(reading)}: {size} µm per px")
    if first.label is not None:
        return _Scale(
            "doubtful bar",
            f"# pixel_size_um = {size}  # scale bar read {_in_comment(reading)} with confidence "
            f"{first.confidence:.2f}: look at it, then take the # away",
        )
    length = f"{first.bar.length_px:.1f}"
    return _Scale(
        "bar without label",
        f"# pixel_size_um = ...  # scale bar of {length} px, label not read: its µm divided by {length}",
    )


def _in_comment(reading: ScaleReading) -> str:
    label = reading.readings[0].label
    return f"'{label.text}'" if label else ""


def _why_unread() -> str:
    """Why no label can be read on this machine, to go into a sentence; empty where it can."""
    from surfscan.calibration.label_reading import why_unreadable

    reason = why_unreadable()
    return f" ({reason[0].lower()}{reason[1:]})" if reason else ""


def _unclear(
    images: Sequence[_Image], others: Sequence[NameGuess], asked: Sequence[tuple[str, list[str]]]
) -> list[str]:
    """Questions about images, names of other files and what else is asked."""
    names = [*(image.name for image in images), *others]
    questions = [
        (
            "Pixel size: no scale in the file. Add pixel_size_um, else sizes come in pixels",
            [i.file for i in images if i.scale.known_from == "nowhere"],
        ),
        (
            "Scale bar: read, but not surely enough to be taken. Look at it (surfscan scale IMAGE --crop "
            "bar.png cuts it out), then take the # before pixel_size_um away or put it right",
            [i.file for i in images if i.scale.known_from == "doubtful bar"],
        ),
        (
            f"Scale bar: found, but its label was not read{_why_unread()}. Look at it and add pixel_size_um, "
            "else sizes come in pixels",
            [i.file for i in images if i.scale.known_from == "bar without label"],
        ),
        (
            "Pixel size: the scale bar and the file disagree, and the file is taken. Look which holds, and "
            "state pixel_size_um where it is the bar",
            [i.file for i in images if i.scale.is_contradicted],
        ),
        (
            "Unit of the heights: none in the file, taken as µm. Add height_unit where it is another",
            [i.file for i in images if i.shows_heights and not i.has_height_unit],
        ),
        (
            "What it shows: struts or a cross-section, taken from names. Put shows right where it is another",
            [i.file for i in images if i.kind in ("strut", "section")],
        ),
        (
            "Exposure: no hours or days in the name. Add exposure_h",
            _unique(n.specimen for n in names if n.exposure_h is None),
        ),
        (
            "Last number in the name: taken as the specimen's, it may be the field's",
            _unique(n.specimen for n in names if n.is_number_unclear),
        ),
        (
            "Named like something that belongs to another image (before, side, stage, twin), but no image "
            "has the rest of its name: drafted as an image of its own. Name it where it belongs",
            [i.file for i in images if (companion_of(i.file) or ("", ""))[1] in _PART_ROLES],
        ),
        (
            "Condition of the surface: as received, with product or cleaned",
            [i.file for i in images if i.name.condition == "not_stated"],
        ),
        (
            "How the field was chosen: systematic, random or worst seen",
            [i.file for i in images if not i.name.worst_seen],
        ),
    ]
    lines = [f"{question} ({_listed(files)})" for question, files in [*questions, *asked] if files]
    groups = _unique(n.group for n in names)
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
        "# composition = { Mg = ..., Zn = ... }  # mass percent",
        '# source = "..."',
        "",
    ]


def _groups(names: Sequence[tuple[NameGuess, Shows | None]]) -> list[str]:
    lines = []
    for group in _unique(name.group for name, _ in names):
        lines += ["[[group]]", f"name = {_quoted(group)}", '# baseline = "..."  # group as received', ""]
    return lines


def _specimens(named: Sequence[tuple[NameGuess, Shows | None]]) -> list[str]:
    """Specimens that names speak of; the kind of an image stands beside its name."""
    lines = []
    for specimen in _unique(name.specimen for name, _ in named):
        names = [name for name, _ in named if name.specimen == specimen]
        hours = _unique(f"{n.exposure_h:g}" for n in names if n.exposure_h is not None)
        exposure = f"exposure_h = {hours[0]}" if hours else "# exposure_h = ...  # not in the names"
        if len(hours) > 1:
            exposure += f"  # the names also give {', '.join(hours[1:])}"
        lines += ["[[specimen]]", f"id = {_quoted(specimen)}", f"group = {_quoted(names[0].group)}", exposure]
        lines += ['# material = "..."', "# surface_area_mm2 = ..."]
        if any(kind in ("strut", "section") for name, kind in named if name.specimen == specimen):
            lines += [f"# {size}_um = ...  # as drawn" for size in ("drawn_strut_width", "drawn_thickness")]
        lines.append("")
    return lines


def _images(images: Sequence[_Image]) -> list[str]:
    lines = []
    for image in images:
        lines += ["[[image]]", f"file = {_quoted(image.file)}"]
        guessed = "  # guessed from the name" if image.kind in ("strut", "section") else ""
        lines += [f"specimen = {_quoted(image.name.specimen)}", f'shows = "{image.kind}"{guessed}']
        if image.scale.line:
            lines.append(image.scale.line)
        if image.shows_heights and not image.has_height_unit:
            lines.append('# height_unit = "..."  # not in the file; taken as µm')
        if image.name.condition == "not_stated":
            lines.append('# condition = "..."  # "as_received", "with_product" or "cleaned"')
        else:
            lines.append(f"condition = {_quoted(image.name.condition)}")
        if image.name.worst_seen:
            lines.append('field_choice = "worst_seen"')
        else:
            lines.append('# field_choice = "..."  # "systematic", "random" or "worst_seen"')
        lines += [f"{role} = {_quoted(name)}" for role, name in image.companions.items()]
        if image.kind in ("strut", "section"):
            wanted = [role for role in ROLES_BY_KIND[image.kind] if role in _PART_ROLES]
            lines += [f'# {r} = "..."  # {COMPANIONS[r]}' for r in wanted if r not in image.companions]
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
