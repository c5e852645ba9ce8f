"""What people corrected: one file a save in `corrections/`, and its mask beside it, never changed again.

A save takes a name that nobody holds, writes the mask and then the record, each under a temporary name,
brings them to the disk and renames them. Killed anywhere in between, everything saved before is whole, and
what is left of this save has a name that nobody takes again. No file is ever written to twice.

Which of two saves of an image is the later one: first by `saved_at`, then by `number`. A save is never
stamped earlier than those already there, so a clock that was set back changes nothing: such a save takes
the time of the latest one, and the next number.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any, Literal, get_args, overload

import numpy as np

from surfscan._version import __version__
from surfscan.errors import InputError
from surfscan.store.marks import marks_as_runs, marks_of_runs
from surfscan.store.masks import encode_mask, file_sha256, file_stem
from surfscan.store.once import part_of, write_claimed
from surfscan.store.reviewers import plain_name
from surfscan.store.toml_text import from_toml, toml_text

FOLDER = "corrections"
UNSAVED = "unsaved"

Corrected = Literal["pits", "degraded", "struts", "section", "scale"]
"""What can be corrected: the result of a procedure, or the scale of an image."""

WITH_MASK = ("pits", "degraded", "section")
"""Those whose correction is a mask; that of the others is in `edits`."""

_TIME = "%Y-%m-%dT%H:%M:%SZ"
_IN_NAMES = "%Y%m%dT%H%M%SZ"
_HEAD = "# SHA-256 of the lines below: "
_KIND = "|".join(get_args(Corrected))
_RECORD = re.compile(rf"(?P<stem>.+-[0-9a-f]{{8}})_(?P<procedure>{_KIND})_\d{{8}}T\d{{6}}Z-(?P<number>\d+)")
_OURS = re.compile(rf"{_RECORD.pattern}\.(?:toml|tif)(?:\.part)?")
_JOURNAL = re.compile(rf".+-[0-9a-f]{{8}}_(?:{_KIND})_.+-[0-9a-f]{{8}}\.jsonl")
_PAGE = re.compile(r"#\d+$")
_LOST = "Bring the file back from a copy of the study, or correct the image again; nothing else was changed"


@dataclass(frozen=True)
class Correction:
    """One save of one reviewer on one image.

    Attributes
    ----------
    image_id : str
        Name of the image in study and store.
    procedure : str
        One of `Corrected`.
    reviewer, reason : str
        Who saved it, and why in their words.
    saved_at : str
        UTC, ``2026-05-04T13:02:11Z``.
    number : int
        Counts the saves on this image and procedure, from 1; decides where times are equal.
    image_sha256 : str
        Of the image file that was looked at, hex: the correction holds for no other.
    base_fingerprint, base_mask_sha256 : str
        Of the automatic result that was corrected; empty where there was none.
    settings : mapping
        Settings of that result.
    changes : mapping
        What changed, as counts and areas: `surfscan.corrections.changes.Changes.as_dict`.
    marks : mapping of int to str
        Label of each automatic object -> "accepted", "rejected" or "unsure".
    edits : mapping
        Of struts, the edges that were moved; of a scale, `pixel_size_x_um`, `pixel_size_y_um`,
        `relative_uncertainty` and what else was noted.
    mask_file, mask_sha256 : str
        Label image beside the record; empty where there is none.
    version : str
        Version of surfscan that saved it.
    path : Path
        The record.
    sha256 : str
        Of what the record says, hex; alike on every operating system.
    """

    image_id: str
    procedure: Corrected
    reviewer: str
    saved_at: str
    number: int
    reason: str
    image_sha256: str
    base_fingerprint: str
    base_mask_sha256: str
    settings: Mapping[str, Any]
    changes: Mapping[str, Any]
    marks: Mapping[int, str]
    edits: Mapping[str, Any]
    mask_file: str
    mask_sha256: str
    version: str
    path: Path
    sha256: str

    @property
    def name(self) -> str:
        """Name of its record."""
        return self.path.name

    @property
    def said(self) -> str:
        """Who and when, for messages: "A. Reviewer on 2026-05-04"."""
        return f"{self.reviewer} on {self.saved_at[:10]}"

    @property
    def order(self) -> tuple[str, int, str]:
        """By which the later of two saves is known."""
        return (self.saved_at, self.number, self.name)


@dataclass(frozen=True)
class Corrections(Sequence[Correction]):
    """All corrections of a study, oldest first.

    Attributes
    ----------
    all : tuple of Correction
    faults : tuple of InputError
        Files that cannot be used, each with what is wrong and what to do. They are left where they are.
    study_ids : frozenset of str
        Images that the study names; empty where that does not matter. See `of_file`.
    """

    all: tuple[Correction, ...] = ()
    faults: tuple[InputError, ...] = ()
    study_ids: frozenset[str] = frozenset()

    @overload
    def __getitem__(self, index: int) -> Correction: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[Correction]: ...
    def __getitem__(self, index: int | slice) -> Correction | Sequence[Correction]:
        return self.all[index]

    def __len__(self) -> int:
        return len(self.all)

    def __iter__(self) -> Iterator[Correction]:
        return iter(self.all)

    @property
    def faults_said(self) -> tuple[str, ...]:
        """The faults in words, each with its file as the study has it."""
        named = ((f"{FOLDER}/{Path(fault.path or '').name}", fault) for fault in self.faults)
        return tuple(str(InputError(name, fault.fault, fault.remedy)) for name, fault in named)

    @cached_property
    def by_image(self) -> Mapping[str, Mapping[str, tuple[Correction, ...]]]:
        """Image -> procedure -> its corrections, oldest first."""
        found: dict[str, list[Correction]] = {}
        for each in self.all:
            found.setdefault(each.image_id, []).append(each)
        return {name: _by_procedure(own) for name, own in found.items()}

    @cached_property
    def _renamed(self) -> Mapping[tuple[str, str], set[str]]:
        """Content and page -> names, of images that the study no longer names."""
        found: dict[tuple[str, str], set[str]] = {}
        for each in self.all if self.study_ids else ():
            if each.image_id not in self.study_ids:
                found.setdefault((each.image_sha256, _page_of(each.image_id)), set()).add(each.image_id)
        return found

    def of_file(self, image_id: str, image_sha256: str | None) -> Mapping[str, tuple[Correction, ...]]:
        """Corrections of an image by procedure, oldest first, whatever its file is called by now.

        Where the study no longer names the image that was corrected, and this one is the very same file and
        page, it is that image under another name. The checksum is None where it is not known.
        """
        own = self.by_image.get(image_id, {})
        before = self._renamed.get((image_sha256 or "", _page_of(image_id)), ())
        if not before:
            return own
        every = (own, *(self.by_image[name] for name in before))
        these = [each for saved in every for own_saves in saved.values() for each in own_saves]
        return _by_procedure(sorted(these, key=lambda each: each.order))

    def of(self, image_id: str, procedure: str) -> tuple[Correction, ...]:
        """Corrections of one image and procedure, oldest first."""
        return self.by_image.get(image_id, {}).get(procedure, ())


def _by_procedure(saved: Iterable[Correction]) -> dict[str, tuple[Correction, ...]]:
    found: dict[str, tuple[Correction, ...]] = {}
    for each in saved:
        found[each.procedure] = (*found.get(each.procedure, ()), each)
    return found


def _page_of(image_id: str) -> str:
    """What stands behind the name of the file: "#3", or nothing."""
    found = _PAGE.search(image_id)
    return found[0] if found else ""


def save_correction(
    folder: str | Path,
    *,
    image_id: str,
    procedure: Corrected,
    reviewer: str,
    reason: str,
    image_sha256: str,
    base_fingerprint: str = "",
    base_mask_sha256: str = "",
    settings: Mapping[str, Any] | None = None,
    changes: Mapping[str, Any] | None = None,
    marks: Mapping[int, str] | None = None,
    edits: Mapping[str, Any] | None = None,
    mask: np.ndarray | None = None,
    now: datetime | None = None,
) -> Correction:
    """Save a correction beside all others; on return it is on the disk.

    Parameters
    ----------
    folder : path
        Folder of the study.
    image_id, procedure, reviewer, reason, image_sha256, base_fingerprint, base_mask_sha256, settings, changes
        See `Correction`.
    marks, edits : mapping, optional
        The same.
    mask : ndarray of shape (M, N), bool or integer, optional
        The mask as corrected.
    now : datetime, optional
        With its time zone; the clock's time where not given.

    Returns
    -------
    Correction

    Raises
    ------
    InputError
        If no reviewer is named, or the files cannot be written.
    ValueError
        If what was corrected is unknown, has no mask or edits, or holds what a file has no word for.
    """
    if procedure not in get_args(Corrected):
        raise ValueError(f"{procedure!r} cannot be corrected: {', '.join(get_args(Corrected))} can")
    if (procedure in WITH_MASK) != (mask is not None) or (procedure not in WITH_MASK and not edits):
        needs = "a mask" if procedure in WITH_MASK else "edits and no mask"
        raise ValueError(f"a correction of {procedure} needs {needs}")
    if not reviewer.strip():
        raise InputError(None, "no reviewer is named", "Write your name, so that others know who corrected")
    home = Path(folder) / FOLDER
    content = None if mask is None else encode_mask(mask)
    known = corrections_of(folder).of(image_id, procedure)
    clock = (now or datetime.now(UTC)).astimezone(UTC)
    stamp = max(clock.strftime(_TIME), known[-1].saved_at if known else "")
    try:
        home.mkdir(exist_ok=True)
        path, number = _claim(home, f"{file_stem(image_id)}_{procedure}", stamp)
        record = {
            "image_id": image_id,
            "procedure": procedure,
            "reviewer": plain_name(reviewer),
            "saved_at": stamp,
            "number": number,
            "reason": reason.strip(),
            "image_sha256": image_sha256,
            "base_fingerprint": base_fingerprint,
            "base_mask_sha256": base_mask_sha256,
            "mask_file": "" if content is None else path.with_suffix(".tif").name,
            "mask_sha256": "" if content is None else hashlib.sha256(content).hexdigest(),
            "version": __version__,
            "changes": dict(changes or {}),
            "settings": dict(settings or {}),
            "marks": marks_as_runs(marks or {}),
            "edits": dict(edits or {}),
        }
        text = toml_text(record)
        beside = None if content is None else (path.with_suffix(".tif"), content)
        write_claimed(path, f"{_HEAD}{_sha256(text)}\n{text}".encode(), beside)
    except OSError as error:
        raise InputError(
            error.filename or home,
            f"the correction cannot be saved ({error.strerror})",
            "Check that the disk is not full and that you may write there, then save again",
        ) from error
    return _read(path)


def _claim(home: Path, start: str, stamp: str) -> tuple[Path, int]:
    """A name that nobody holds, now held by an empty file ``NAME.toml.part``, and its number.

    Only one process can make that file, and it goes when the record gets its name in one step; so whoever
    has made it and finds no record under that name is alone.
    """
    taken = [int(m["number"]) for p in home.glob(f"{start}_*") if (m := _RECORD.match(p.name))]
    number = max(taken, default=0) + 1
    at = datetime.strptime(stamp, _TIME).strftime(_IN_NAMES)
    while True:
        path = home / f"{start}_{at}-{number}.toml"
        try:
            part_of(path).touch(exist_ok=False)
        except FileExistsError:
            number += 1
            continue
        mask = path.with_suffix(".tif")
        if not any(p.exists() for p in (path, mask, part_of(mask))):
            return path, number
        part_of(path).unlink()
        number += 1


def corrections_of(folder: str | Path, study_ids: Iterable[str] = ()) -> Corrections:
    """Every correction of a study, oldest first, and what is wrong with files that cannot be used.

    Parameters
    ----------
    folder : path
        Folder of the study.
    study_ids : iterable of str, optional
        Images that the study names: see `Corrections.of_file`.

    Returns
    -------
    Corrections
        Masks are not read: `read_correction_mask` does, and verifies them.
    """
    home = Path(folder) / FOLDER
    found, faults = [], []
    names = {p.name for p in home.iterdir()} if home.is_dir() else set()
    for name in sorted(names):
        if not _RECORD.match(name):
            continue
        if name.endswith(".toml"):
            try:
                found.append(_remembered(home / name))
            except InputError as error:
                faults.append(error)
        elif name.endswith(".tif") and f"{name.removesuffix('.tif')}.toml" not in names:
            faults.append(
                InputError(
                    home / name,
                    "this corrected mask has no record beside it: its save was cut off or is under way, or "
                    "the record was removed; it is not used",
                    "Correct the image again from its unsaved work, or delete the file",
                )
            )
    inside = sorted(found, key=lambda each: each.order)
    return Corrections(tuple(inside), tuple(faults), frozenset(study_ids))


_seen: dict[Path, tuple[int, int, Correction]] = {}
"""Records already read, by path, with size and time of change: they are never changed on purpose."""


def _remembered(path: Path) -> Correction:
    try:
        state = path.stat()
    except OSError as error:
        raise InputError(path, f"this correction cannot be read ({error.strerror})", _LOST) from error
    known = _seen.get(path)
    if known is None or known[:2] != (state.st_size, state.st_mtime_ns):
        known = (state.st_size, state.st_mtime_ns, _read(path))
        _seen[path] = known
    return known[2]


def _read(path: Path) -> Correction:
    try:
        text = path.read_bytes().decode("utf-8").replace("\r\n", "\n")
    except OSError as error:
        raise InputError(path, f"this correction cannot be read ({error.strerror})", _LOST) from error
    except UnicodeDecodeError:
        raise InputError(path, "this correction is damaged (it is not UTF-8)", _LOST) from None
    head, _, rest = text.partition("\n")
    if not head.startswith(_HEAD) or head.removeprefix(_HEAD).strip() != _sha256(rest):
        raise InputError(
            path, "this correction is damaged or was changed by hand (its checksum does not match)", _LOST
        )
    values = from_toml(tomllib.loads(rest))
    try:
        values["marks"] = marks_of_runs(values["marks"])
        return Correction(**values, path=path, sha256=_sha256(rest))
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise InputError(
            path,
            "this correction has another form than this version of surfscan knows",
            "Upgrade surfscan (pip install --upgrade surfscan); nothing was changed",
        ) from error


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def in_force(
    corrections: Corrections,
    image_id: str,
    procedure: str,
    *,
    reviewer: str | None = None,
    image_sha256: str | None = None,
) -> Correction | None:
    """The correction of an image that counts: the latest save.

    Parameters
    ----------
    corrections : Corrections
    image_id, procedure : str
    reviewer : str, optional
        Count the saves of this reviewer only, as ``[review] in_force`` of study.toml says.
    image_sha256 : str, optional
        Count only those that were made on this very file, hex.

    Returns
    -------
    Correction or None
    """
    counted = [
        each
        for each in corrections.of_file(image_id, image_sha256).get(procedure, ())
        if (reviewer is None or each.reviewer == plain_name(reviewer))
        and (image_sha256 is None or each.image_sha256 == image_sha256)
    ]
    return counted[-1] if counted else None


def read_correction_mask(correction: Correction) -> np.ndarray:
    """Mask of a correction, shape (M, N), unsigned integers, checksum verified.

    Raises
    ------
    InputError
        If the correction is of edges or a scale, or the file is missing or was changed.
    """
    import tifffile

    if correction.procedure not in WITH_MASK:
        raise InputError(
            correction.path, f"a correction of {correction.procedure} has no mask", "Use its edits"
        )
    fault = mask_fault(correction)
    if fault:
        raise fault
    return np.asarray(tifffile.imread(correction.path.with_name(correction.mask_file)))


def mask_fault(correction: Correction, *, verify: bool = True) -> InputError | None:
    """What is wrong with the mask of a correction; None where nothing is, or where it needs none.

    Without `verify` the file is only looked for, not read.
    """
    if correction.procedure not in WITH_MASK:
        return None
    path = correction.path.with_name(correction.mask_file)
    if not correction.mask_file or not path.is_file():
        return InputError(path, f"the mask corrected by {correction.said} is missing", _LOST)
    if verify and file_sha256(path) != correction.mask_sha256:
        return InputError(
            path, f"the mask corrected by {correction.said} was changed (its checksum does not match)", _LOST
        )
    return None


def unsaved_path(folder: str | Path, image_id: str, procedure: Corrected, reviewer: str) -> Path:
    """Where the unsaved work of a reviewer on an image is kept: one journal each.

    Nothing is made there yet. Reviewers whose names look alike in a file name still get one each.
    """
    known = hashlib.sha256(reviewer.encode()).hexdigest()[:8]
    slug = re.sub(r"[^a-z0-9]+", "-", reviewer.lower()).strip("-")[:40] or "reviewer"
    name = f"{file_stem(image_id)}_{procedure}_{slug}-{known}.jsonl"
    return Path(folder) / FOLDER / UNSAVED / name


def unsaved_files(folder: str | Path) -> list[Path]:
    """Journals of unsaved work in a study, in order of name."""
    home = Path(folder) / FOLDER / UNSAVED
    return [p for p in sorted(home.glob("*.jsonl")) if _JOURNAL.fullmatch(p.name)]


def own_files(folder: str | Path) -> list[Path]:
    """Files in `corrections/` that surfscan named; a user's own files are not among them."""
    home = Path(folder) / FOLDER
    own = [p for p in sorted(home.glob("*")) if _OURS.fullmatch(p.name)]
    return [*own, *unsaved_files(folder)]
