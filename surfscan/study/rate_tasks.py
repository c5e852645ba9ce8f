"""What has to be measured of a sweep, weighing, gas or log, and the fingerprint that tells whether it was."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel

from surfscan._version import __version__
from surfscan.immersion.settings import ImmersionSettings
from surfscan.store.results import StoredResult
from surfscan.study.conditions import Conditions, LogHours, conditions_of
from surfscan.study.entries import Study
from surfscan.study.rate_entries import (
    PROCEDURE_OF,
    GasEntry,
    LogEntry,
    RateEntry,
    RateProcedure,
    SweepEntry,
    WeighingEntry,
)
from surfscan.study.tasks import Job, required_sha256

FUNCTIONS: dict[RateProcedure, str] = {
    "sweep": "surfscan.study.rate_measures:measure_sweep_entry",
    "mass_loss": "surfscan.study.rate_measures:measure_weighing",
    "gas": "surfscan.study.rate_measures:measure_gas",
    "exposure": "surfscan.study.rate_measures:measure_log",
}
"""Procedure -> its function as ``module:name``, called with a `RateTask`."""

KINDS = {"sweep": "sweep", "mass_loss": "weighing", "gas": "gas readings", "exposure": "rig log"}
"""Procedure -> what its entry is called."""

_CHANGES_NO_FIGURE = {"note", "twin_of", "specimen"}
_READINGS = {"specimen", "note"}


@dataclass(frozen=True)
class RateTask:
    """An entry to measure: names and figures only, so that it costs nothing to hand to a worker process.

    Attributes
    ----------
    folder : Path
        Folder of the study, absolute.
    entry : RateEntry
    sha256 : str
        SHA-256 of its file when the task was made, hex; of its readings where it names no file.
    conditions : Conditions
    immersion : ImmersionSettings
        Uncertainties of what a log doses, beside its own settings.
    jobs : tuple of Job
        One.
    """

    folder: Path
    entry: RateEntry
    sha256: str
    conditions: Conditions
    immersion: ImmersionSettings
    jobs: tuple[Job, ...]

    @property
    def entry_id(self) -> str:
        """Name of the entry in study and store."""
        return self.entry.entry_id

    @property
    def specimen(self) -> str:
        """Whose it is; several are set apart by commas."""
        return ", ".join(self.conditions.specimens)


def settings_of(study: Study, entry: RateEntry) -> BaseModel:
    """Settings of an entry: those of the study, with what the entry states in their place."""
    settings = study.settings
    if isinstance(entry, SweepEntry):
        return settings.sweep
    if isinstance(entry, LogEntry):
        return entry.settings(settings.exposure)
    if isinstance(entry, GasEntry):
        wet = settings.immersion.gas_is_wet if entry.dry is None else not entry.dry
        return settings.immersion.model_copy(update={"gas_is_wet": wet})
    if entry.balance_uncertainty_mg is not None:
        return settings.immersion.model_copy(update={"balance_uncertainty_mg": entry.balance_uncertainty_mg})
    return settings.immersion


def rate_fingerprint(
    entry: RateEntry,
    settings: BaseModel,
    sha256: str,
    conditions: Conditions,
    immersion: ImmersionSettings,
    version: str = __version__,
) -> str:
    """SHA-256 over all that decides a result: two equal fingerprints mean two equal results.

    Parameters
    ----------
    entry : RateEntry
        What it says of its readings enters; notes do not.
    settings : BaseModel
        Every field enters, defaults included.
    sha256 : str
        Of its file, hex; of its readings where it names none.
    conditions : Conditions
        Area, material, hours and where they come from.
    immersion : ImmersionSettings
        Enters the result of a log.
    version : str
        Version of surfscan.

    Returns
    -------
    str
        Hex.
    """
    own = entry.model_dump(mode="json", exclude=_CHANGES_NO_FIGURE)
    if isinstance(entry, LogEntry):  # the rest is in its settings and conditions
        own = {"start": entry.start, "stop": entry.stop, "immersion": immersion.model_dump(mode="json")}
    decisive = {
        "conditions": conditions.decisive(),
        "content": sha256,
        "entry": own,
        "procedure": PROCEDURE_OF[type(entry)],
        "settings": settings.model_dump(mode="json"),
        "version": version,
    }
    return hashlib.sha256(json.dumps(decisive, sort_keys=True).encode()).hexdigest()


def plan_rate(study: Study, entry: RateEntry, logs: Mapping[str, LogHours]) -> RateTask:
    """All there is to measure of an entry, whether it has been or not.

    Parameters
    ----------
    study : Study
    entry : RateEntry
    logs : mapping of str to LogHours
        Logs that were measured, by their file: see `log_hours`.

    Raises
    ------
    InputError
        If its file is missing or cannot be read, or its material is not known.
    """
    folder = study.folder.resolve()
    procedure = PROCEDURE_OF[type(entry)]
    file = None if isinstance(entry, WeighingEntry) else entry.file
    if file is None:
        stated = json.dumps(entry.model_dump(mode="json", exclude=_READINGS), sort_keys=True)
        sha256 = hashlib.sha256(stated.encode()).hexdigest()
    else:
        sha256 = required_sha256(folder / file, KINDS[procedure])
    settings = settings_of(study, entry)
    conditions = conditions_of(study, entry, logs)
    immersion = study.settings.immersion
    mark = rate_fingerprint(entry, settings, sha256, conditions, immersion)
    job = Job(procedure, FUNCTIONS[procedure], settings, mark)
    return RateTask(folder, entry, sha256, conditions, immersion, (job,))


def log_hours(study: Study, stored: Mapping[tuple[str, str], StoredResult]) -> dict[str, LogHours]:
    """What the logs of a study say of the time in the bath; a log that failed says nothing.

    Parameters
    ----------
    study : Study
    stored : mapping of (str, str) to StoredResult
        By entry and procedure; results that failed stand before older ones.
    """
    found = {}
    for log in study.logs:
        result = stored.get((log.entry_id, "exposure"))
        if result is not None and result.status == "done" and result.summary.get("immersed_h") is not None:
            found[log.file] = LogHours(
                float(result.summary["immersed_h"]), str(result.summary.get("verdict", ""))
            )
    return found
