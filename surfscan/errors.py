"""The one error that surfscan raises on purpose about what it was given."""

from __future__ import annotations

from pathlib import Path


class InputError(Exception):
    """Something handed in cannot be used: says what, why and what to do.

    Parameters
    ----------
    path : str, Path or None
        The file (or ``file:line``) at fault; None where the fault is not in a file.
    fault : str
        What is wrong, with the offending value.
    remedy : str
        What the user can do about it.
    """

    def __init__(self, path: str | Path | None, fault: str, remedy: str) -> None:
        self.path = None if path is None else str(path)
        self.fault = fault
        self.remedy = remedy
        super().__init__(str(self))

    def __str__(self) -> str:
        where = f"{self.path}: " if self.path else ""
        stop = "" if self.remedy.endswith((".", "?", "!")) else "."
        return f"{where}{self.fault.rstrip('.')}. {self.remedy}{stop}"

    def __reduce__(self) -> tuple[type[InputError], tuple[str | None, str, str]]:
        """Survive the trip back from a worker process."""
        return (InputError, (self.path, self.fault, self.remedy))
