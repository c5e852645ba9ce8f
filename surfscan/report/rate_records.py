"""What the study says of each sweep, weighing, gas and log, joined with what was measured."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from surfscan.columns import Table, empty_table

if TYPE_CHECKING:
    from surfscan.store.results import StoredResult
    from surfscan.study.manifest import Specimen, Study
    from surfscan.study.rate_entries import RateEntry, RateProcedure

TOGETHER = " + "
"""Between specimens that share a vessel: their rate is one."""

NOUNS: dict[RateProcedure, str] = {
    "sweep": "sweep",
    "mass_loss": "weighing",
    "gas": "gas series",
    "exposure": "rig log",
}
"""Procedure -> what one of its entries is called."""


@dataclass(frozen=True)
class RateRecord:
    """One sweep, weighing, gas series or log of the study with its stored result.

    Attributes
    ----------
    entry : RateEntry
        As study.toml has it.
    procedure : str
        "sweep", "mass_loss", "gas" or "exposure".
    specimens : tuple of Specimen
        Whose it is; a log may have several.
    result : StoredResult or None
        Latest one, also where it failed.
    """

    entry: RateEntry
    procedure: RateProcedure
    specimens: tuple[Specimen, ...]
    result: StoredResult | None = None
    _unpacked: dict[str, Table] = field(default_factory=dict, repr=False, compare=False)

    @property
    def entry_id(self) -> str:
        """Its name in study and store."""
        return self.entry.entry_id

    @property
    def specimen_names(self) -> str:
        """Its specimens, joined where they share a vessel."""
        return TOGETHER.join(s.id for s in self.specimens)

    @property
    def group(self) -> str:
        """The group of its specimens; several are separated by commas."""
        return ", ".join(dict.fromkeys(s.group for s in self.specimens))

    @property
    def status(self) -> str:
        """ "done", "failed" or "not measured"."""
        return self.result.status if self.result else "not measured"

    @property
    def done(self) -> StoredResult | None:
        """The stored result, if it succeeded."""
        return self.result if self.result and self.result.status == "done" else None

    @property
    def message(self) -> str:
        """Why there is no result; empty where there is one."""
        if self.result is None:
            return "Not measured yet: run surfscan measure."
        return "" if self.done else self.result.message

    @property
    def summary(self) -> Mapping[str, Any]:
        """Figures of the result; empty where there is none."""
        return self.done.summary if self.done else {}

    @property
    def warnings(self) -> tuple[str, ...]:
        """Warnings of the result."""
        return self.done.warnings if self.done else ()

    @property
    def sha256(self) -> str:
        """Of its file as measured; of its readings where it has none; empty where not measured."""
        return self.done.source.sha256 if self.done and self.done.source else ""

    @property
    def twin_of(self) -> str:
        """The exposed specimen that an electrode stands for; empty where none is stated."""
        return getattr(self.entry, "twin_of", None) or ""

    @property
    def exposure_h(self) -> float:
        """Stated exposure of its specimens, where they have one in common; else not-a-number."""
        stated = {s.exposure_h for s in self.specimens}
        return number(stated.pop()) if len(stated) == 1 else math.nan

    def figure(self, *path: str) -> float:
        """A number of the summary, by its name or by the names that lead to it; else not-a-number."""
        return number(self.value(*path))

    def interval(self, *path: str) -> tuple[float, float]:
        """The 95 % interval of that number."""
        return pair(self.value(*path[:-1], f"{path[-1]}_ci95"))

    def text(self, *path: str) -> str:
        """A word of the summary; empty where there is none."""
        value = self.value(*path)
        return "" if value is None else str(value)

    def value(self, *path: str) -> Any:
        """Any entry of the summary; None where there is none."""
        at: Any = self.summary
        for name in path:
            if not isinstance(at, Mapping):
                return None
            at = at.get(name)
        return at

    def table(self, name: str) -> Table:
        """A stored table; no rows where there is none."""
        if name not in self._unpacked:
            has = self.done is not None and name in self.done.tables
            self._unpacked[name] = self.done.tables[name] if self.done and has else empty_table(name)
        return self._unpacked[name]


def number(value: Any) -> float:
    """A figure; not-a-number where it is None."""
    return math.nan if value is None else float(value)


def pair(limits: Any) -> tuple[float, float]:
    """Two limits; not-a-numbers where there are none."""
    return (math.nan, math.nan) if limits is None else (number(limits[0]), number(limits[1]))


def of_procedure(records: Iterable[RateRecord], procedure: RateProcedure) -> list[RateRecord]:
    """Sweeps, weighings, gas series or logs."""
    return [r for r in records if r.procedure == procedure]


def gather_rates(study: Study, stored: Iterable[StoredResult]) -> list[RateRecord]:
    """Join sweeps, weighings, gas series and logs with stored results, each kind in the study's order."""
    from surfscan.study.rate_entries import PROCEDURE_OF, LogEntry

    by_entry = {(r.image_id, r.procedure): r for r in stored}
    entries: Sequence[RateEntry] = (*study.weighings, *study.gas, *study.logs, *study.sweeps)
    out = []
    for entry in entries:
        procedure = PROCEDURE_OF[type(entry)]
        names = study.specimens_of(entry) if isinstance(entry, LogEntry) else (entry.specimen,)
        specimens = tuple(study.specimen(name) for name in names)
        out.append(RateRecord(entry, procedure, specimens, by_entry.get((entry.entry_id, procedure))))
    return out
