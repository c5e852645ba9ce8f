"""Criteria that nothing in the study can decide, found before a run."""

from __future__ import annotations

from collections.abc import Iterator

from surfscan.comparison.rates import Method
from surfscan.estimates.groups import MIN_SPECIMENS
from surfscan.study.criterion_entries import CriterionEntry, judged_groups
from surfscan.study.entries import Study
from surfscan.study.findings import Finding
from surfscan.study.manifest import ManifestReader

_SHOWN_BY: dict[Method, str] = {"strut width": "strut", "section": "section", "pit volume": "heights"}
_ENTERED_BY: dict[Method, str] = {
    "mass loss": "weighing",
    "gas": "gas",
    "acid": "log",
    "sweep": "sweep",
    "polarization resistance": "sweep",
}
_PICTURES: dict[str, str] = {
    "surface": "picture of a surface",
    "heights": "height map",
    "strut": "picture of struts",
    "section": "picture of a section",
}


def criterion_findings(manifest: ManifestReader, study: Study | None) -> Iterator[Finding]:
    """Warnings about criteria, each at its line.

    Parameters
    ----------
    manifest : ManifestReader
        After reading.
    study : Study or None
        None where the manifest has faults: nothing is then said here.
    """
    if study is None:
        return
    entries: dict[int, CriterionEntry] = manifest.tables["criterion"]
    for i, entry in entries.items():
        where = manifest.where("criterion", i, "figure")
        for group in judged_groups(entry, study.groups):
            members = [s.id for s in study.specimens if s.group == group]
            missing = _missing(entry, study, members)
            if missing:
                yield Finding(
                    "warning",
                    where,
                    f"the criterion on {entry.figure} cannot be decided for group {group!r}: {missing}",
                    "Add what it is measured on, or name the groups that it holds for",
                )
            elif entry.of == "mean" and entry.rule == "guarded" and len(members) < MIN_SPECIMENS:
                over = f"{len(members)} specimen{'' if len(members) == 1 else 's'} of group {group!r}"
                yield Finding(
                    "warning",
                    where,
                    f"the mean of {entry.figure} over {over} has no interval: it stays undecided",
                    f'Add specimens ({MIN_SPECIMENS} or more), or write of = "specimens"',
                )


def _missing(entry: CriterionEntry, study: Study, members: list[str]) -> str:
    """What the figure would be measured on, where no specimen of the group has it; else empty."""
    if not members:
        return "it has no specimen"
    kind = entry.kind if entry.method is None else _SHOWN_BY.get(entry.method)
    if kind is not None:
        shown = any(image.kind == kind for image in study.images if image.specimen in members)
        return "" if shown else f"none of its specimens has a {_PICTURES[kind]}"
    assert entry.method is not None
    table = _ENTERED_BY[entry.method]
    named: set[str | None] = set()
    if table == "log":
        named.update(name for log in study.logs for name in study.specimens_of(log))
    elif table == "sweep":
        named.update(name for sweep in study.sweeps for name in (sweep.specimen, sweep.twin_of))
    else:
        named.update(entry.specimen for entry in (study.weighings if table == "weighing" else study.gas))
    return "" if named.intersection(members) else f"none of its specimens has a [[{table}]] entry"
