"""What is wrong or doubtful in the sweeps, weighings, gas and logs of a study, found before a run."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from difflib import get_close_matches
from pathlib import Path

from surfscan.errors import InputError
from surfscan.study.conditions import Conditions, LogHours, conditions_of, hours_differ
from surfscan.study.entries import Study
from surfscan.study.findings import Finding
from surfscan.study.manifest import ManifestReader
from surfscan.study.rate_entries import RATE_TABLES, GasEntry, LogEntry, SweepEntry, WeighingEntry
from surfscan.study.rate_measures import measure_gas, measure_log, measure_weighing
from surfscan.study.rate_tasks import KINDS, RateTask, plan_rate

_SEE = "See whether it matters here"
_FILED = {"sweep": "sweep", "gas": "gas", "log": "exposure"}
"""Tables whose entries name a file -> their procedure."""


def rate_findings(manifest: ManifestReader, study: Study | None) -> Iterator[Finding]:
    """Everything that is wrong with entries for rates, each at its line.

    Sweeps are read, logs, weighings and gas are measured: nothing is stored.

    Parameters
    ----------
    manifest : ManifestReader
        After reading.
    study : Study or None
        None where the manifest has faults: files are then opened as far as they can be.
    """
    check = _RateCheck(manifest, study)
    yield from check.missing_files()
    yield from check.sweeps()
    if study is not None:
        yield from check.logs(study)
        yield from check.gas(study)
        yield from check.weighings(study)


class _RateCheck:
    def __init__(self, manifest: ManifestReader, study: Study | None) -> None:
        self.manifest = manifest
        self.study = study
        self.folder = manifest.path.parent
        self.hours: dict[str, LogHours] = {}

    def missing_files(self) -> Iterator[Finding]:
        for table, procedure in _FILED.items():
            for i, entry in self.manifest.tables[table].items():
                if entry.file is None:
                    continue
                where = self.manifest.where(table, i, "file")
                path = self.folder / entry.file
                if not path.is_file():
                    said = f"the {KINDS[procedure]} {entry.file} is missing"
                    yield Finding("error", where, said, _nearest(path))
                elif Path(entry.file).is_absolute():
                    yield Finding(
                        "warning",
                        where,
                        f"{entry.file} is an absolute path",
                        "Write it relative to study.toml, so that the study can be moved",
                    )

    def sweeps(self) -> Iterator[Finding]:
        from surfscan.electrochemistry.reading import read_sweep

        entries: dict[int, SweepEntry] = self.manifest.tables["sweep"]
        for i, entry in entries.items():
            where = self.manifest.where("sweep", i, "file")
            path = self.folder / entry.file
            if not path.is_file():
                continue
            try:
                sweep = read_sweep(
                    path,
                    reference=entry.reference,
                    columns=entry.columns or None,
                    units=entry.units or None,
                    decimal=entry.decimal,
                )
            except InputError as error:
                yield Finding("error", where, f"{entry.file}: {error.fault}", error.remedy)
                continue
            for text in sweep.warnings:
                yield Finding("warning", where, f"{entry.file}: {_bare(text)}", _SEE)
            guessed = [c for c in sweep.columns if c.how == "content"]
            if guessed:
                told = ", ".join(f"column {c.column} as {c.role} in {c.unit}" for c in guessed)
                yield Finding(
                    "warning",
                    where,
                    f"{entry.file}: {told}, told by the numbers alone",
                    "State columns = { potential = ..., current = ... } to be sure",
                )
            if sweep.reference is None:
                yield Finding(
                    "warning",
                    where,
                    f"{entry.file} does not name its reference electrode",
                    'Add reference = "..." such as "SCE": potentials mean nothing without it',
                )
            if self.study is not None:
                has_density = sweep.density_A_per_cm2 is not None
                yield from self.sweep_conditions(self.study, i, entry, has_density)

    def sweep_conditions(
        self, study: Study, i: int, entry: SweepEntry, has_density: bool
    ) -> Iterator[Finding]:
        where = self.manifest.where("sweep", i, "specimen")
        found = conditions_of(study, entry, {})
        if found.area_cm2 is None and not has_density:
            yield Finding(
                "warning",
                where,
                f"{entry.file} has no wetted area, so that no current density and no rate is given",
                "Add area_cm2 to the sweep, or surface_area_mm2 to the specimen",
            )
        yield from self.material(where, entry.file, found)

    def material(self, where: str, name: str, found: Conditions) -> Iterator[Finding]:
        whose = " and ".join(found.specimens)
        if found.material is None:
            yield Finding(
                "warning",
                where,
                f"{name} has no material, so that no rate in mm/y is given",
                f'Add material = "..." to specimen {whose}',
            )
        elif found.material.equivalent_weight is None:
            yield Finding(
                "warning",
                where,
                f"{name}: the equivalent weight of {found.material.name} is not known: no rate is given",
                "Add composition and valences to its [[material]] table, or equivalent_weight",
            )

    def logs(self, study: Study) -> Iterator[Finding]:
        for i, entry in enumerate(study.logs):
            where = self.manifest.where("log", self.number("log", i), "file")
            if not (self.folder / entry.file).is_file():
                continue
            try:
                result = measure_log(plan_rate(study, entry, {}))
            except InputError as error:
                yield Finding("error", where, f"{entry.file}: {error.fault}", error.remedy)
                continue
            for text in result.warnings:
                yield Finding("warning", where, f"{entry.file}: {_bare(text)}", _SEE)
            for reason in result.summary["verdict_reasons"]:
                said = f"{entry.file}: {result.summary['verdict']}: {_bare(reason['text'])}"
                yield Finding("warning", where, said, _SEE)
            hours = float(result.summary["immersed_h"])
            self.hours[entry.file] = LogHours(hours, str(result.summary["verdict"]))
            yield from self.exposures(study, entry, where, hours)

    def exposures(self, study: Study, log: LogEntry, where: str, hours: float) -> Iterator[Finding]:
        """Hours of a log against those that its specimens state."""
        for name in study.specimens_of(log):
            stated = study.specimen(name).exposure_h
            if log.covers == "whole" and stated is not None and hours_differ(hours, stated):
                yield Finding(
                    "warning",
                    where,
                    f"{log.file} covers {hours:.4g} h, and specimen {name!r} states exposure_h = {stated:g}",
                    'Correct exposure_h, state start and stop, or write covers = "part"',
                )

    def gas(self, study: Study) -> Iterator[Finding]:
        for i, entry in enumerate(study.gas):
            where = self.manifest.where("gas", self.number("gas", i))
            if entry.file is None or (self.folder / entry.file).is_file():
                yield from self.measured(study, entry, where, measure_gas)

    def weighings(self, study: Study) -> Iterator[Finding]:
        for i, entry in enumerate(study.weighings):
            where = self.manifest.where("weighing", self.number("weighing", i))
            yield from self.measured(study, entry, where, measure_weighing)

    def measured(
        self,
        study: Study,
        entry: GasEntry | WeighingEntry,
        where: str,
        measure: Callable[[RateTask], object],
    ) -> Iterator[Finding]:
        from surfscan.procedures.result import Result

        name = entry.entry_id
        try:
            result = measure(plan_rate(study, entry, self.hours))
        except InputError as error:
            yield Finding("error", where, f"{name}: {error.fault}", error.remedy)
            return
        assert isinstance(result, Result)
        if result.summary["refused"]:
            yield Finding("warning", where, f"{name} gives no rate: {_bare(result.summary['refused'])}", _SEE)
        for text in result.warnings:
            yield Finding("warning", where, f"{name}: {_bare(text)}", _SEE)

    def number(self, table: str, i: int) -> int:
        """Number in the file of the i-th sound table."""
        return list(self.manifest.tables[table])[i]


def named_in_entries(manifest: ManifestReader) -> set[str]:
    """Files that tables for rates name, faulty tables too."""
    rows = (row for table in RATE_TABLES for row in manifest.rows[table].values())
    return {row["file"] for row in rows if isinstance(row.get("file"), str)}


def specimens_in_entries(manifest: ManifestReader) -> dict[str, set[str]]:
    """Specimen -> tables for rates that name it; a group of a log stands for all of its specimens."""
    groups: dict[str, list[str]] = {}
    for row in manifest.rows["specimen"].values():
        groups.setdefault(str(row.get("group")), []).append(str(row.get("id")))
    found: dict[str, set[str]] = {}
    for table in RATE_TABLES:
        for row in manifest.rows[table].values():
            several = row.get("specimens")
            names = [row.get("specimen"), row.get("twin_of"), *(several if isinstance(several, list) else [])]
            names += groups.get(str(row.get("group")), []) if "group" in row else []
            for name in names:
                if isinstance(name, str):
                    found.setdefault(name, set()).add(table)
    return found


def _bare(text: str) -> str:
    return text.strip().removesuffix(".")


def _nearest(path: Path) -> str:
    names = [other.name for other in path.parent.iterdir()] if path.parent.is_dir() else []
    near = get_close_matches(path.name, names, 1)
    return f"Did you mean {near[0]!r}?" if near else "Correct the name, or put the file there"
