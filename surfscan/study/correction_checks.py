"""Corrections on record that are damaged, no longer hold, or belong to nothing in the study."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from surfscan.store.corrections import FOLDER, Corrections, unsaved_files
from surfscan.store.masks import file_sha256
from surfscan.store.reviewers import plain_name
from surfscan.study.entries import Study
from surfscan.study.findings import Finding
from surfscan.study.manifest import ManifestReader
from surfscan.study.reviewed import reviews_on


def correction_findings(
    manifest: ManifestReader, study: Study | None, corrections: Corrections
) -> Iterator[Finding]:
    """What a person should know of the corrections of a study, before it is measured.

    Parameters
    ----------
    manifest : ManifestReader
        After reading.
    study : Study or None
        None where the manifest has faults: then only files that are damaged are told.
    corrections : Corrections
        Those of its folder.
    """
    for fault in corrections.faults:
        name = (fault.path or "").replace("\\", "/").rpartition("/")[2]
        yield Finding("warning", f"{FOLDER}/{name}", fault.fault, fault.remedy)
    waiting = len(unsaved_files(manifest.path.parent))
    if waiting:
        yield Finding(
            "warning",
            FOLDER,
            f"unsaved work on {waiting} image{'' if waiting == 1 else 's'} is waiting",
            "Run 'surfscan review': it offers to go on from there",
        )
    if study is None:
        return
    yield from _named_reviewer(manifest, study, corrections)
    used: set[str] = set()
    for i, image in manifest.tables["image"].items() if corrections else ():
        try:
            sha256 = file_sha256(study.folder / image.file)
        except OSError:
            used.add(image.image_id)  # told of as a missing image
            continue
        used |= {
            each.image_id for own in corrections.of_file(image.image_id, sha256).values() for each in own
        }
        where = manifest.where("image", i, "file")
        for text in reviews_on(study, corrections, image, sha256).warnings:
            said = f"{image.file}: {text.rstrip('.')}"
            yield Finding("warning", where, said, "See whether it matters here")
    for image_id, saved in corrections.by_image.items():
        if image_id not in used:
            count = sum(map(len, saved.values()))
            yield Finding(
                "warning",
                FOLDER,
                f"{image_id}, which study.toml does not name, has {count} "
                f"correction{'' if count == 1 else 's'}",
                "Nothing to do if it was taken out on purpose; a file that only has another name now keeps "
                "its corrections, a file that changed has to be corrected again",
            )


def _named_reviewer(manifest: ManifestReader, study: Study, corrections: Corrections) -> Iterator[Finding]:
    name = study.review.in_force
    names = sorted({each.reviewer for each in corrections})
    if name is None or plain_name(name) in names:
        return
    near = get_close_matches(name, names, 1)
    yield Finding(
        "warning",
        manifest.where("review", "in_force"),
        f"no correction on record is by {name!r}, so that none counts",
        f"Did you mean {near[0]!r}?" if near else "Correct the name, or leave in_force out",
    )
