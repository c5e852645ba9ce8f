"""What is wrong or doubtful in a study, and where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from surfscan.errors import InputError


@dataclass(frozen=True)
class Finding:
    """One thing found while checking a study.

    Attributes
    ----------
    severity : "error" or "warning"
        An error keeps something from being measured; a warning is for a person to judge.
    where : str
        ``FILE:LINE`` where a line can be named, else the file or folder.
    what : str
        What is wrong, with the value.
    remedy : str
        What to do about it.
    """

    severity: Literal["error", "warning"]
    where: str
    what: str
    remedy: str

    def __str__(self) -> str:
        return str(InputError(self.where, self.what, self.remedy))


def as_error(path: Path, faults: Sequence[Finding]) -> InputError:
    """One error that lists every fault.

    Parameters
    ----------
    path : Path
        The manifest.
    faults : sequence of Finding
        At least one.
    """
    if len(faults) == 1:
        return InputError(faults[0].where, faults[0].what, faults[0].remedy)
    listed = "".join(f"\n  {fault}" for fault in faults)
    return InputError(
        path, f"{len(faults)} faults", f"Put these right, then run 'surfscan check' again:{listed}"
    )
