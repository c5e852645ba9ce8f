"""Measuring one image or entry, here or in a worker process; what goes wrong becomes its failure."""

from __future__ import annotations

import os
import signal
import sys
import threading
import traceback
from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib import import_module
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any

from surfscan.errors import InputError
from surfscan.store.corrections import WITH_MASK, Correction, read_correction_mask
from surfscan.store.results import Failure, StagedResult, stage
from surfscan.study.entries import ROLES
from surfscan.study.inputs import open_companion, open_entry
from surfscan.study.rate_tasks import RateTask
from surfscan.study.reviewed import told, with_scale
from surfscan.study.tasks import ImageTask, Job

if TYPE_CHECKING:
    from surfscan.images import HeightMap, Micrograph
    from surfscan.procedures.result import Result

SHARED = ("region",)
"""Roles of companions that every procedure of an image uses: opened once."""

Outcome = tuple[str, StagedResult | Failure]
"""Fingerprint of a job, and what came of it."""


def start_worker(lifeline: Connection) -> None:
    """Make this process a worker that ends with its parent.

    Parameters
    ----------
    lifeline : Connection
        Read end of a pipe whose other end only the parent holds: it closes when the parent stops the
        batch, and also when the parent is killed, so that no worker is ever left running.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    threading.Thread(target=_end_with_parent, args=(lifeline,), daemon=True).start()
    limit_threads(1)


def _end_with_parent(lifeline: Connection) -> None:
    try:
        lifeline.recv_bytes()
    except (EOFError, OSError):
        os._exit(1)


def limit_threads(count: int) -> int:
    """Set how many threads OpenCV may use in this process; returns how many it used before.

    Images are spread over processes, so that threads within one would only get in each other's way.
    """
    import cv2

    before = cv2.getNumThreads()
    cv2.setNumThreads(count)
    return int(before)


def measure_task(task: ImageTask | RateTask) -> list[Outcome]:
    """Run every job of an image, or the one of a sweep, weighing, gas or log.

    Returns
    -------
    list of (str, StagedResult or Failure)
        One for each job, in their order. Never raises about what is measured.
    """
    return measure_image(task) if isinstance(task, ImageTask) else measure_rate(task)


def measure_rate(task: RateTask) -> list[Outcome]:
    """Measure a sweep, weighing, gas or log.

    Returns
    -------
    list of (str, StagedResult or Failure)
        One. Never raises about the entry: what went wrong is in the Failure.
    """
    (job,) = task.jobs
    try:
        return [(job.fingerprint, stage(task.folder, task.entry_id, _named(job.function)(task)))]
    except Exception as error:
        return [(job.fingerprint, Failure(job.procedure, _said(error, task)))]


def measure_image(task: ImageTask) -> list[Outcome]:
    """Run every job of an image and write its masks under temporary names.

    Returns
    -------
    list of (str, StagedResult or Failure)
        One for each job, in their order. Never raises about the image: what went wrong is in the Failure.
    """
    try:
        image = _open(task)
        given = _opened(task, image, SHARED)
    except Exception as error:
        return [(job.fingerprint, Failure(job.procedure, _said(error, task))) for job in task.jobs]
    return [(job.fingerprint, _measure(job, image, given, task)) for job in task.jobs]


def _open(task: ImageTask) -> Micrograph | HeightMap:
    image = open_entry(task.folder, task.image, task.reviews)
    if image.source.sha256 != task.sha256:
        raise InputError(
            task.folder / task.image.file,
            "the file changed while it was being measured",
            "Run 'surfscan measure' again",
        )
    return image


def _measure(
    job: Job, image: Micrograph | HeightMap, given: Mapping[str, Any], task: ImageTask
) -> StagedResult | Failure:
    try:
        own = [role for role in ROLES[job.measures] if role not in SHARED]
        given = {**given, **_opened(task, image, own)}
        result = run_job(job, image, given)
        return stage(task.folder, task.image.image_id, result)
    except Exception as error:
        return Failure(job.procedure, _said(error, task))


def run_job(job: Job, image: Micrograph | HeightMap, given: Mapping[str, Any]) -> Result:
    """Run one job on an opened image.

    Parameters
    ----------
    job : Job
        Where it has a correction, nothing is searched: what the person left is measured.
    image : Micrograph or HeightMap
    given : mapping of str to value
        What else the procedure takes, by role.

    Returns
    -------
    Result
        Named as the job; its summary says whose correction it is made with.

    Raises
    ------
    InputError
        If the image cannot be measured, or the correction does not fit it.
    """
    measure = _named(job.function)
    if job.correction is None:
        found: Result = measure(image, job.settings, **given)
        return found
    found = measure(image, job.settings, **given, corrected=corrected(job.correction, image))
    summary = {**found.summary, "corrected_by_hand": True, "correction": told(job.correction)}
    return replace(found, procedure=job.procedure, summary=summary)


def corrected(correction: Correction, image: Micrograph | HeightMap) -> Any:
    """What a procedure takes as `corrected`: a mask, or the edges that were moved.

    Raises
    ------
    InputError
        If the mask is missing, was changed, or has another size than the image.
    """
    if correction.procedure not in WITH_MASK:
        from surfscan.measurement.strut_edges import EdgeMoves

        return EdgeMoves.from_dict(correction.edits)
    mask = read_correction_mask(correction)
    if mask.shape != image.shape:
        (rows, cols), (own_rows, own_cols) = image.shape, mask.shape
        raise InputError(
            correction.path.with_name(correction.mask_file),
            f"the mask corrected by {correction.said} is {own_rows} x {own_cols} px, the image "
            f"{rows} x {cols} px (rows x columns)",
            "Correct the image again",
        )
    return mask


def _opened(task: ImageTask, image: Micrograph | HeightMap, roles: Sequence[str]) -> dict[str, Any]:
    """Files of these roles that the entry names, opened."""
    entry = with_scale(task.image, task.reviews.scale)
    named = entry.companions()
    return {role: open_companion(task.folder, entry, image, role) for role in roles if role in named}


def _named(place: str) -> Any:
    module, name = place.split(":")
    return getattr(import_module(module), name)


def _said(error: Exception, task: ImageTask | RateTask) -> str:
    """The error in one line, without this machine's folders."""
    if isinstance(error, InputError):
        names = task.image.companions().values() if isinstance(task, ImageTask) else ()
        at = next((name for name in names if error.path in (name, str(task.folder / name))), None)
        return str(InputError(at, error.fault, error.remedy))
    if isinstance(error, MemoryError):
        return "there was not enough memory. Use fewer workers, or cut the image into smaller fields."
    frame = traceback.extract_tb(sys.exc_info()[2])[-1]
    place = f"{Path(frame.filename).name}:{frame.lineno}"
    what = "image" if isinstance(task, ImageTask) else "file"
    return f"unexpected {type(error).__name__} in {place}: {error}. Please report it with the {what}."
