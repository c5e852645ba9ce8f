"""What a person reviews: the images of a study with their state, one of them opened, and what is saved."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from pydantic import BaseModel

from surfscan.errors import InputError
from surfscan.store.corrections import Corrected, Correction, Corrections, save_correction
from surfscan.store.lock import WriterLock
from surfscan.store.results import REVIEWED, Failure, ResultsStore, StoredEntry, StoredResult
from surfscan.study.entries import ROLES, ImageEntry, Shows, Study
from surfscan.study.file_hashes import FileHashes
from surfscan.study.inputs import open_companion, open_reviewed
from surfscan.study.reviewed import SCALE, reviews_on, study_corrections, with_scale
from surfscan.study.tasks import PROCEDURES, Job, jobs_for, plan_image, settings_for
from surfscan.study.worker import measure_image, run_job

if TYPE_CHECKING:
    from surfscan.images import HeightMap, Micrograph
    from surfscan.procedures.result import Result

State = Literal["not measured", "measured", "reviewed", "stale", "failed"]
_WORST_FIRST: tuple[State, ...] = ("failed", "stale", "not measured", "reviewed", "measured")

TAKEN_UP_LATER = "'surfscan measure' will take it up."


@dataclass(frozen=True)
class ReviewItem:
    """An image of a study and how far it is.

    Attributes
    ----------
    image_id, specimen, group : str
    shows : "surface", "heights", "strut" or "section"
    procedures : tuple of str
        What the study asks for.
    state : State
        The state of its procedures that needs a person most; "reviewed" where one was and nothing is amiss.
    states : mapping of str to State
        By procedure. "stale": settings, a file or a correction changed since it was measured.
    said : str
        Why, in words; who reviewed it.
    """

    image_id: str
    specimen: str
    group: str
    shows: Shows
    procedures: tuple[str, ...]
    state: State
    states: Mapping[str, State]
    said: str


@dataclass(frozen=True)
class OpenedImage:
    """An image opened for review with all that is known of it.

    Attributes
    ----------
    entry : ImageEntry
        As study.toml has it.
    image : Micrograph or HeightMap
        With the scale that a person confirmed, where study.toml states none.
    automatic : mapping of str to StoredResult
        What was measured without a person, by procedure; failures too.
    corrections : mapping of str to list of Correction
        All saves by procedure ("scale" too), oldest first, whether they count or not.
    companions : mapping of str to ndarray, HeightMap or Micrograph
        Files that belong to it, opened, by role.
    settings : mapping of str to BaseModel
        Those of the study with what image and specimen state, by procedure.
    in_force : mapping of str to Correction
        Those that count.
    reviewed : mapping of str to StoredResult
        What was measured with the latest corrections taken up, by procedure.
    notes : tuple of str
        What a person should know: files that cannot be opened, corrections that do not hold.
    """

    entry: ImageEntry
    image: Micrograph | HeightMap
    automatic: Mapping[str, StoredResult]
    corrections: Mapping[str, list[Correction]]
    companions: Mapping[str, Any]
    settings: Mapping[str, BaseModel]
    in_force: Mapping[str, Correction] = field(default_factory=dict)
    reviewed: Mapping[str, StoredResult] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def review_items(
    study: Study, progress: Callable[[int, int], None] | None = None, *, hash_files: bool = True
) -> list[ReviewItem]:
    """The images of a study in its order, each with its state.

    Parameters
    ----------
    study : Study
    progress : callable, optional
        Called with how many of how many are through.
    hash_files : bool
        Whether files not seen before are read to see if they changed since they were measured. Without it
        the list is there at once, and such files are taken to be as they were.

    Returns
    -------
    list of ReviewItem

    Raises
    ------
    InputError
        If the results cannot be read.
    """
    items = []
    for item in iter_review_items(study, hash_files=hash_files):
        items.append(item)
        if progress:
            progress(len(items), len(study.images))
    return items


def iter_review_items(study: Study, *, hash_files: bool = True) -> Iterator[ReviewItem]:
    """The same one by one, as they become known."""
    stored = {(e.image_id, e.procedure): e for e in ResultsStore(study.folder).entries()}
    corrections = study_corrections(study)
    groups = {s.id: s.group for s in study.specimens}
    hashes = FileHashes(study.folder)
    try:
        for image in study.images:
            yield _item(study, image, groups[image.specimen], stored, corrections, hashes, hash_files)
    finally:
        hashes.keep()


def _item(
    study: Study,
    image: ImageEntry,
    group: str,
    stored: Mapping[tuple[str, str], StoredEntry],
    corrections: Corrections,
    hashes: FileHashes,
    hash_files: bool,
) -> ReviewItem:
    own = {
        p: e for p in image.procedures for q in (p, p + REVIEWED) if (e := stored.get((image.image_id, q)))
    }
    measured = next((e.source_sha256 for e in own.values() if e.source_sha256), None)

    def sha256_of(name: str, assumed: str | None) -> str | None:
        return hashes.of(name) if hash_files else hashes.known(name) or assumed

    states: dict[str, State] = {}
    said: list[str] = []
    sha256 = sha256_of(image.file, measured) if (study.folder / image.file).is_file() else None
    if sha256 is None and (hash_files or not (study.folder / image.file).is_file()):
        states = dict.fromkeys(image.procedures, "failed")
        said = [f"{image.file} is missing or cannot be read"]
    else:
        companions = {role: sha256_of(name, None) for role, name in image.companions().items()}
        sure = hash_files or (None not in companions.values() and sha256 is not None)
        reviews = reviews_on(study, corrections, image, sha256, verify=False)
        jobs = {job.procedure: job for job in jobs_for(study, image, sha256 or "", companions, reviews)}
        for procedure in image.procedures:
            state, words = _state(image.image_id, procedure, jobs, stored, sure)
            is_lost = procedure in reviews.lost and state == "measured"
            states[procedure] = "stale" if is_lost else state
            said += words
        said += reviews.warnings
        if reviews.scale_from is not None:
            how = "rejected" if reviews.bar_rejected else "confirmed"
            said.append(f"scale {how} by {reviews.scale_from.said}")
    state = next(state for state in _WORST_FIRST if state in states.values())
    text = "; ".join(dict.fromkeys(said))
    return ReviewItem(
        image.image_id, image.specimen, group, image.kind, image.procedures, state, states, text
    )


def _state(
    image_id: str,
    procedure: str,
    jobs: Mapping[str, Job],
    stored: Mapping[tuple[str, str], StoredEntry],
    sure: bool,
) -> tuple[State, list[str]]:
    """State of one procedure, by its reviewed result where a correction counts; and why."""
    reviewed = jobs.get(procedure + REVIEWED)
    job = reviewed or jobs[procedure]
    entry = stored.get((image_id, job.procedure))
    who = [] if reviewed is None or reviewed.correction is None else [reviewed.correction.said]
    if entry is None:
        if who:
            return "stale", [f"{procedure} reviewed by {who[0]}, not measured with it yet"]
        return "not measured", []
    if entry.status == "failed":
        return "failed", [f"{procedure}: {entry.message}"]
    if sure and entry.fingerprint != job.fingerprint:
        if who:
            return "stale", [f"{procedure} reviewed by {who[0]}; something changed since it was measured"]
        return "stale", [f"{procedure}: settings, sizes, scale or a file changed since it was measured"]
    return ("reviewed", [f"{procedure} reviewed by {who[0]}"]) if who else ("measured", [])


def open_for_review(study: Study, image_id: str) -> OpenedImage:
    """Open an image of a study with its results, corrections and the files that belong to it.

    Raises
    ------
    InputError
        If the study has no such image, it cannot be opened, or the results cannot be read.
    """
    entry = entry_of(study, image_id)
    corrections = study_corrections(study)
    notes = list(corrections.faults_said)
    folder = study.folder.resolve()
    image, reviews = open_reviewed(study, entry, corrections)
    companions = {}
    for role in entry.companions():
        try:
            companions[role] = open_companion(folder, with_scale(entry, reviews.scale), image, role)
        except InputError as error:
            notes.append(str(error))
    stored = ResultsStore(study.folder).of_image(image_id)
    scale = {} if reviews.scale_from is None else {SCALE: reviews.scale_from}
    return OpenedImage(
        entry=entry,
        image=image,
        automatic={p: r for p, r in stored.items() if not p.endswith(REVIEWED)},
        corrections={
            p: list(saved) for p, saved in corrections.of_file(image_id, image.source.sha256).items()
        },
        companions=companions,
        settings={p: settings_for(study, entry, p) for p in entry.procedures},
        in_force={**reviews.results, **scale},
        reviewed={p.removesuffix(REVIEWED): r for p, r in stored.items() if p.endswith(REVIEWED)},
        notes=(*notes, *reviews.warnings),
    )


def entry_of(study: Study, image_id: str) -> ImageEntry:
    """The entry of an image.

    Raises
    ------
    InputError
        If study.toml names no such image.
    """
    found = next((image for image in study.images if image.image_id == image_id), None)
    if found is None:
        raise InputError(
            study.folder / "study.toml", f"there is no image {image_id!r}", "Open the study again"
        )
    return found


def measure_now(
    study: Study,
    image_id: str,
    procedure: str,
    settings: BaseModel | None = None,
    image: Micrograph | HeightMap | None = None,
    companions: Mapping[str, Any] | None = None,
) -> Result:
    """Run a procedure on an image as the study would, and keep nothing.

    Parameters
    ----------
    study : Study
    image_id, procedure : str
    settings : BaseModel, optional
        Those of the study where not given.
    image : Micrograph or HeightMap, optional
        The image, where it is open already.
    companions : mapping, optional
        Files that belong to it, where they are open already: see `OpenedImage`.

    Returns
    -------
    Result
        Without what a person corrected.

    Raises
    ------
    InputError
        If the image cannot be opened or measured.
    """
    entry = entry_of(study, image_id)
    if procedure not in entry.procedures:
        raise InputError(
            study.folder / "study.toml",
            f"{image_id} is not to be measured for {procedure}",
            f"It is measured for {', '.join(entry.procedures)}",
        )
    scale = None
    if image is None:
        image, reviews = open_reviewed(study, entry, study_corrections(study))
        scale = reviews.scale
    roles = [role for role in entry.companions() if role in ROLES[procedure]]
    if companions is None:
        own = with_scale(entry, scale)
        companions = {role: open_companion(study.folder.resolve(), own, image, role) for role in roles}
    job = Job(procedure, PROCEDURES[procedure], settings or settings_for(study, entry, procedure), "")
    return run_job(job, image, {role: companions[role] for role in roles if role in companions})


def save_review(
    study: Study,
    opened: OpenedImage,
    procedure: Corrected,
    *,
    reviewer: str,
    reason: str,
    mask: np.ndarray | None = None,
    edits: Mapping[str, Any] | None = None,
    changes: Mapping[str, Any] | None = None,
    marks: Mapping[int, str] | None = None,
    settings: Mapping[str, Any] | None = None,
    tell: Callable[[str], None] | None = None,
) -> Correction:
    """Save what a person corrected, then measure with it.

    Parameters
    ----------
    study : Study
    opened : OpenedImage
        What was looked at.
    procedure : str
        "pits", "degraded", "section" (with `mask`), "struts" or "scale" (with `edits`).
    reviewer, reason : str
    mask : ndarray of shape (M, N), optional
        Labels or classes as corrected.
    edits, changes, marks : mapping, optional
        See `surfscan.store.corrections.Correction`.
    settings : mapping, optional
        Settings of the result that was corrected, where they were not those of the stored one.
    tell : callable, optional
        Called with one line on what came of it: measured with, or why not yet.

    Returns
    -------
    Correction
        On the disk, whatever became of measuring with it.

    Raises
    ------
    InputError
        If no reviewer is named, the mask does not fit the image, or the correction cannot be written.
    """
    if mask is not None and mask.shape != opened.image.shape:
        raise InputError(
            opened.entry.file,
            f"the mask has shape {mask.shape}, the image {opened.image.shape}",
            "Draw it again",
        )
    base = opened.automatic.get(procedure)
    base = base if base is not None and base.status == "done" else None
    correction = save_correction(
        study.folder,
        image_id=opened.entry.image_id,
        procedure=procedure,
        reviewer=reviewer,
        reason=reason,
        image_sha256=opened.image.source.sha256,
        base_fingerprint="" if base is None else base.fingerprint,
        base_mask_sha256="" if base is None else base.mask_sha256.get(procedure, ""),
        settings=settings if settings is not None else {} if base is None else base.settings,
        changes=changes,
        marks=marks,
        edits=edits,
        mask=mask,
    )
    said = take_up(study, opened.entry, procedure)
    if tell:
        tell(said)
    return correction


def take_up(study: Study, entry: ImageEntry, procedure: str) -> str:
    """Measure an image with the correction that counts now; says in one line what came of it.

    Nothing is raised: the correction is on the disk, and the next `surfscan measure` takes it up.
    """
    try:
        task = plan_image(study, entry, study_corrections(study))
        if procedure == SCALE:
            jobs = task.jobs
        else:
            jobs = tuple(job for job in task.jobs if job.procedure == procedure + REVIEWED)
        if not jobs:
            return f"Saved. {' '.join(task.reviews.warnings)}".strip()
        with WriterLock(study.folder):
            outcomes = measure_image(replace(task, jobs=jobs))
            notes = ResultsStore(study.folder).commit(entry.image_id, entry.specimen, outcomes)
    except InputError as error:
        return f"Saved, not measured yet ({error.fault}): {TAKEN_UP_LATER}"
    failed = [outcome.message for _, outcome in outcomes if isinstance(outcome, Failure)]
    if failed:
        return f"Saved, but it cannot be measured: {'; '.join(dict.fromkeys(failed))}"
    return " ".join(["Saved and measured.", *task.reviews.warnings, *notes])
