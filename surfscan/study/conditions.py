"""What a study knows of the specimens behind a rate: wetted area, material, immersed hours, their origin."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from surfscan.errors import InputError
from surfscan.immersion.instrument_checks import InstrumentCheck, judge_check
from surfscan.materials.material import Material
from surfscan.study.entries import Study
from surfscan.study.rate_entries import GasEntry, LogEntry, RateEntry, SweepEntry, WeighingEntry

HOURS_DIFFER = 0.1
"""Hours that differ by more than this share are worth a word (common practice, no source)."""


@dataclass(frozen=True)
class LogHours:
    """What a rig log, as measured, says of the time in the bath.

    Attributes
    ----------
    immersed_h : float
    verdict : str
        "exposure valid", "exposure valid with reservations" or "exposure not valid".
    """

    immersed_h: float
    verdict: str


@dataclass(frozen=True)
class Conditions:
    """What enters a rate beside its readings; ready to be handed to another process.

    Attributes
    ----------
    specimens : tuple of str
        Those whose surface it is the rate of.
    area_cm2, area_relative_uncertainty : float or None
    area_from : str
        Where the area comes from; why there is none.
    material : Material or None
    hours : float or None
        Immersed time of a weighing.
    hours_from : str
    balance_drift_mg : float
        Standard uncertainty of a weighing from what checks of the balance found.
    checks : tuple of InstrumentCheck
        Of a log.
    warnings : tuple of str
    """

    specimens: tuple[str, ...]
    area_cm2: float | None = None
    area_relative_uncertainty: float | None = None
    area_from: str = ""
    material: Material | None = None
    hours: float | None = None
    hours_from: str = ""
    balance_drift_mg: float = 0.0
    checks: tuple[InstrumentCheck, ...] = ()
    warnings: tuple[str, ...] = ()

    def decisive(self) -> dict[str, Any]:
        """All of it, ready for JSON: what differs here makes another result."""
        out = {name: getattr(self, name) for name in self.__dataclass_fields__}
        out["material"] = None if self.material is None else self.material.as_dict()
        out["checks"] = [
            {name: getattr(check, name) for name in check.__dataclass_fields__} for check in self.checks
        ]
        return out

    def known_area_cm2(self) -> float:
        """The wetted area.

        Raises
        ------
        InputError
            If it is not known.
        """
        if self.area_cm2 is None:
            raise InputError(
                None,
                f"the wetted surface is not known: {self.area_from}",
                "Add surface_area_mm2 or wetted_surface to the specimen",
            )
        return self.area_cm2

    def known_material(self) -> Material:
        """The material.

        Raises
        ------
        InputError
            If it is not known.
        """
        if self.material is None:
            raise InputError(
                None,
                f"the material of {' and '.join(self.specimens)} is not known",
                'Add material = "..." to the specimen',
            )
        return self.material

    def known_hours(self) -> float:
        """The immersed time.

        Raises
        ------
        InputError
            If it is not known.
        """
        if self.hours is None:
            raise InputError(
                None,
                f"the immersed time of {' and '.join(self.specimens)} is not known",
                "Add hours to the weighing, exposure_h to the specimen, or a log of the whole exposure",
            )
        return self.hours


def conditions_of(study: Study, entry: RateEntry, logs: Mapping[str, LogHours]) -> Conditions:
    """Conditions of one entry.

    Parameters
    ----------
    study : Study
    entry : SweepEntry, WeighingEntry, GasEntry or LogEntry
    logs : mapping of str to LogHours
        Logs that were measured, by their file. They enter the hours of a weighing.

    Raises
    ------
    InputError
        If a material is not known by its name.
    """
    if isinstance(entry, LogEntry):
        return _of_log(study, entry)
    if isinstance(entry, SweepEntry):
        return _of_sweep(study, entry)
    base = _of_specimen(study, entry)
    if isinstance(entry, GasEntry):
        return base
    hours, hours_from, warnings = immersed_hours(study, entry, logs)
    return Conditions(
        base.specimens,
        base.area_cm2,
        base.area_relative_uncertainty,
        base.area_from,
        base.material,
        hours,
        hours_from,
        _balance_drift_mg(study, entry.specimen),
        warnings=warnings,
    )


def immersed_hours(
    study: Study, entry: WeighingEntry, logs: Mapping[str, LogHours]
) -> tuple[float | None, str, tuple[str, ...]]:
    """Immersed time of a weighed specimen, where it comes from, and what to say about it.

    Stated hours come first, then those of the one log that covers the whole exposure, then the specimen's
    exposure_h. Hours in range are never used: metal corrodes out of range too.

    Parameters
    ----------
    study : Study
    entry : WeighingEntry
    logs : mapping of str to LogHours
    """
    own = study.logs_of(entry.specimen)
    warnings = [
        f"The log {log.file} says: {logs[log.file].verdict}."
        for log in own
        if log.file in logs and logs[log.file].verdict != "exposure valid"
    ]
    whole = [log for log in own if log.covers == "whole"]
    stated = study.specimen(entry.specimen).exposure_h or None
    if len(whole) > 1:
        names = ", ".join(log.file for log in whole)
        warnings.append(
            f"{names} all claim to cover the whole exposure: none of their hours are taken. State "
            'covers = "part" of all but one, or hours in the weighing.'
        )
    of_log = logs.get(whole[0].file) if len(whole) == 1 else None
    if len(whole) == 1 and of_log is None and entry.hours is None:
        warnings.append(f"The log {whole[0].file} gave no hours: exposure_h stands in for them.")
    if entry.hours is not None:
        chosen, chosen_from = entry.hours, "stated with the weighing"
    elif of_log is not None:
        chosen, chosen_from = of_log.immersed_h, f"immersed hours of the log {whole[0].file}"
    elif stated is not None:
        return stated, "exposure_h of the specimen", tuple(warnings)
    else:
        return None, "", tuple(warnings)
    other, other_from = stated, "exposure_h"
    if entry.hours is not None and of_log is not None:
        other, other_from = of_log.immersed_h, f"the log {whole[0].file}"
    if other is not None and hours_differ(chosen, other):
        warnings.append(f"{chosen:.4g} h ({chosen_from}) enter the rate; {other_from} says {other:.4g} h.")
    return chosen, chosen_from, tuple(warnings)


def hours_differ(one: float, other: float) -> bool:
    """Whether two times differ by more than `HOURS_DIFFER` of the longer."""
    return abs(one - other) > HOURS_DIFFER * max(one, other)


def _of_specimen(study: Study, entry: WeighingEntry | GasEntry | SweepEntry) -> Conditions:
    specimen = study.specimen(entry.specimen)
    area = specimen.wetted_mm2
    if specimen.wetted_surface is not None:
        said = f"computed from the dimensions of {specimen.id} as a {specimen.wetted_surface.shape}"
    elif area is not None:
        said = f"surface_area_mm2 of {specimen.id}"
    else:
        said = f"{specimen.id} states none"
    return Conditions(
        (specimen.id,),
        None if area is None else area / 100,
        specimen.wetted_relative_uncertainty,
        said,
        study.material_of(specimen.id),
    )


def _of_sweep(study: Study, entry: SweepEntry) -> Conditions:
    base = _of_specimen(study, entry)
    if entry.area_cm2 is None:
        return base
    return Conditions(
        base.specimens,
        entry.area_cm2,
        entry.area_relative_uncertainty,
        "area_cm2 of the sweep",
        base.material,
    )


def _of_log(study: Study, log: LogEntry) -> Conditions:
    """All specimens of a log together: the acid that it records was taken by all of them."""
    names = study.specimens_of(log)
    specimens = [study.specimen(name) for name in names]
    areas = [s.wetted_mm2 for s in specimens]
    lacking = [s.id for s, area in zip(specimens, areas, strict=True) if area is None]
    metals = {name: study.material_of(name) for name in names}
    warnings = []
    different = len({m.name if m else "" for m in metals.values()}) > 1
    if different:
        warnings.append(
            "The specimens of the log are not of one material: their acid cannot be told apart, and gives "
            "no rate."
        )
    material = None if different else next(iter(metals.values()), None)
    settings = log.settings(study.settings.exposure)
    checks = tuple(check.check(settings.temperature_degC) for check in log.checks)
    if lacking or not names:
        said = f"{', '.join(lacking)} state none" if lacking else "the log has no specimen"
        return Conditions(names, None, None, said, material, checks=checks, warnings=tuple(warnings))
    known = [area for area in areas if area is not None]
    shares = [s.wetted_relative_uncertainty for s in specimens]
    total = math.fsum(known)
    # Surfaces measured alike err alike: their uncertainties are added, not squared.
    doubt = (
        None
        if any(share is None for share in shares)
        else math.fsum(a * u for a, u in zip(known, shares, strict=True) if u is not None) / total
    )
    said = (
        f"surface of {names[0]}" if len(names) == 1 else f"sum over {_listed(names)}, which share one vessel"
    )
    return Conditions(names, total / 100, doubt, said, material, checks=checks, warnings=tuple(warnings))


def _balance_drift_mg(study: Study, specimen: str) -> float:
    """What checks of the balance in a specimen's logs leave uncertain of a weighing; the largest counts."""
    found = [0.0]
    for log in study.logs_of(specimen):
        settings = log.settings(study.settings.exposure)
        found += [
            judge_check(check.check(settings.temperature_degC), settings).standard_uncertainty
            for check in log.checks
            if check.instrument == "balance"
        ]
    return max(found)


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)
