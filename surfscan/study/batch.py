"""The batch: every image, sweep, weighing, gas and log of a study measured, once, whatever happens."""

from __future__ import annotations

import os
from collections.abc import Generator, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal, Protocol

from surfscan.errors import InputError
from surfscan.store.corrections import Corrections
from surfscan.store.lock import WriterLock
from surfscan.store.recovery import set_aside_if_damaged, tidy
from surfscan.store.results import REVIEWED, Failure, ResultsStore, StoredResult
from surfscan.study.entries import ImageEntry, Study
from surfscan.study.manifest import load_study, manifest_path
from surfscan.study.pool import run_in_processes
from surfscan.study.rate_entries import PROCEDURE_OF, LogEntry, RateEntry, WeighingEntry
from surfscan.study.rate_tasks import RateTask, log_hours, plan_rate
from surfscan.study.reviewed import reviews_on, study_corrections
from surfscan.study.tasks import ImageTask, Job, jobs_for, plan_image
from surfscan.study.worker import Outcome, limit_threads, measure_task

CRASHED = (
    "the process that measured it died (out of memory, or a crash in a library). Use fewer workers, "
    "or cut the image into smaller fields."
)

Entry = ImageEntry | RateEntry
Task = ImageTask | RateTask


class Progress(Protocol):
    """Called in the parent process: once at the start, then once for each image or entry."""

    def __call__(
        self, finished: int, total: int, image_id: str, status: Literal["start", "done", "skipped", "failed"]
    ) -> None:
        """`finished` of `total` are through; `image_id` is the last one, empty at the start."""
        ...


@dataclass(frozen=True)
class BatchOutcome:
    """What a run did.

    Attributes
    ----------
    done : list of str
        Images and entries (sweeps, weighings, gas, logs) measured in this run.
    skipped : list of str
        Those whose results were up to date.
    failed : list of (str, str)
        Those that gave no result, or not all of them, and why.
    warnings : list of str
        What a person should know about the store.
    other_entries : int
        How many of them are no images.
    """

    done: list[str] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)
    failed: list[tuple[str, str]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    other_entries: int = 0


def measure_study(
    path: str | Path, *, workers: int | None = None, progress: Progress | None = None
) -> BatchOutcome:
    """Measure what has not been measured yet, or has changed since.

    Each image's results are saved in one transaction as soon as they are there, so the run may be stopped
    at any moment, by Ctrl-C or by a kill, and goes on from there when called again. A result is replaced
    only by a complete new one. An image that fails is noted and the others are measured; failed images
    are tried again in each run. Results of images that the manifest no longer names are kept. The same holds
    for sweeps, gas and logs; weighings come last, since the hours of logs enter them.

    Parameters
    ----------
    path : path
        `study.toml` or its folder.
    workers : int, optional
        Worker processes; by default one for each processor, at most one for each image. With 1 the
        images are measured in this process.
    progress : Progress, optional

    Returns
    -------
    BatchOutcome

    Raises
    ------
    InputError
        If the manifest has faults, names nothing to measure, another run is at work on the study, or the
        results cannot be written.
    """
    study = load_study(path)
    entries = len(study.images) + len(study.rate_entries)
    if not entries:
        raise InputError(
            manifest_path(path),
            "the study names no image",
            "Add an [[image]] table for each image, or [[sweep]], [[weighing]], [[gas]] or [[log]] tables",
        )
    if workers is not None and workers < 1:
        raise InputError(None, f"{workers} workers cannot measure", "Give 1 or more workers")
    count = min(workers or os.cpu_count() or 1, entries)
    with WriterLock(study.folder):
        store = ResultsStore(study.folder)
        warning = set_aside_if_damaged(store)
        tidy(store)
        batch = _Batch(study, store, progress)
        batch.outcome.warnings.extend([warning] if warning else [])
        try:
            batch.run(count)
        finally:
            tidy(store)
    return batch.outcome


class _Batch:
    def __init__(self, study: Study, store: ResultsStore, progress: Progress | None) -> None:
        self.study = study
        self.store = store
        self.progress = progress
        self.outcome = BatchOutcome(other_entries=len(study.rate_entries))
        self.finished = 0
        self.total = len(study.images) + len(study.rate_entries)
        self.corrections = study_corrections(study)
        self.outcome.warnings.extend(self.corrections.faults_said)
        self.stored = {(r.image_id, r.procedure): r for r in store.done()}
        self.hidden = {(r.image_id, r.procedure) for r in store.all() if r.status == "failed"}

    def run(self, workers: int) -> None:
        self.tell("", "start")
        weighings = [e for e in self.study.rate_entries if isinstance(e, WeighingEntry)]
        others = [e for e in self.study.rate_entries if not isinstance(e, WeighingEntry)]
        self.work_off(self.tasks([*others, *self.study.images]), workers)
        if weighings:
            self.work_off(self.tasks(weighings), 1)

    def work_off(self, tasks: Iterator[Task], workers: int) -> None:
        running = _in_this_process(tasks) if workers == 1 else run_in_processes(measure_task, tasks, workers)
        with closing(running):
            for task, outcomes in running:
                self.keep(task.entry_id, task.specimen, outcomes or _all_failed(task.jobs, CRASHED))

    def tasks(self, entries: Sequence[Entry]) -> Iterator[Task]:
        """Entries with something to do; the others are told off on the way."""
        has_weighing = any(isinstance(entry, WeighingEntry) for entry in entries)
        latest = {(r.image_id, r.procedure): r for r in self.store.all()} if has_weighing else {}
        logs = log_hours(self.study, latest)
        for entry in entries:
            name = _name(entry)
            try:
                task: Task = (
                    plan_image(self.study, entry, self.corrections)
                    if isinstance(entry, ImageEntry)
                    else plan_rate(self.study, entry, logs)
                )
            except InputError as error:
                said = str(InputError(None, error.fault, error.remedy))
                failed = _unplanned(self.study, entry, said, self.corrections)
                self.keep(name, _whose(self.study, entry), failed)
                continue
            if isinstance(task, ImageTask):
                self.outcome.warnings.extend(f"{name}: {text}" for text in task.reviews.warnings)
            jobs = tuple(job for job in task.jobs if not self.up_to_date(task, job))
            if jobs:
                yield replace(task, jobs=jobs)
            else:
                self.outcome.skipped.append(name)
                self.tell(name, "skipped")

    def up_to_date(self, task: Task, job: Job) -> bool:
        key = (task.entry_id, job.procedure)
        stored = self.stored.get(key)
        if stored is None or stored.fingerprint != job.fingerprint or not self.sound(stored):
            return False
        if key in self.hidden:
            self.store.forget_failure(*key)
        if stored.specimen != task.specimen:
            self.store.assign(task.entry_id, task.specimen)
        return True

    def sound(self, stored: StoredResult) -> bool:
        faults = stored.mask_faults()
        self.outcome.warnings.extend(
            f"masks/{fault}; {stored.image_id} was measured again." for fault in faults
        )
        return not faults

    def keep(self, name: str, specimen: str, outcomes: Sequence[Outcome]) -> None:
        self.outcome.warnings.extend(self.store.commit(name, specimen, outcomes))
        failures = [outcome for _, outcome in outcomes if isinstance(outcome, Failure)]
        if not failures:
            self.outcome.done.append(name)
        elif len({f.message for f in failures}) == 1 and len(failures) == len(outcomes):
            self.outcome.failed.append((name, failures[0].message))
        else:
            message = "; ".join(f"{name_of(f.procedure)}: {f.message}" for f in failures)
            self.outcome.failed.append((name, message))
        self.tell(name, "failed" if failures else "done")

    def tell(self, name: str, status: Literal["start", "done", "skipped", "failed"]) -> None:
        self.finished += status != "start"
        if self.progress:
            self.progress(self.finished, self.total, name, status)


def _in_this_process(tasks: Iterator[Task]) -> Generator[tuple[Task, list[Outcome] | None], None, None]:
    before = limit_threads(1)
    try:
        for task in tasks:
            yield task, measure_task(task)
    finally:
        limit_threads(before)


def name_of(procedure: str) -> str:
    """A procedure in words: "pits", or "pits as corrected"."""
    base = procedure.removesuffix(REVIEWED)
    return base if base == procedure else f"{base} as corrected"


def _name(entry: Entry) -> str:
    return entry.image_id if isinstance(entry, ImageEntry) else entry.entry_id


def _whose(study: Study, entry: Entry) -> str:
    return ", ".join(study.specimens_of(entry)) if isinstance(entry, LogEntry) else entry.specimen


def _unplanned(study: Study, entry: Entry, message: str, corrections: Corrections) -> list[Outcome]:
    """Failures of all that an entry asks for, corrected or not, where its files cannot even be read."""
    if isinstance(entry, ImageEntry):
        reviews = reviews_on(study, corrections, entry, None)
        return _all_failed(jobs_for(study, entry, "unreadable", {}, reviews), message)
    return [("unreadable", Failure(PROCEDURE_OF[type(entry)], message))]


def _all_failed(jobs: Sequence[Job], message: str) -> list[Outcome]:
    return [(job.fingerprint, Failure(job.procedure, message)) for job in jobs]
