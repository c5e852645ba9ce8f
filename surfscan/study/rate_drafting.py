"""Sweeps and rig logs of a folder as drafted entries: guesses, for a person to confirm."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from surfscan.study.folder import find_texts
from surfscan.study.names import NameGuess, guess
from surfscan.study.text_files import TextKind, kind_of_text

_WORDS = re.compile(
    r"[ _-]*(?<![A-Za-z])(?:sweeps?|polari[sz]ation|tafel|pdp|lpr|cyclic|rig|log|logger)(?![A-Za-z])",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class DraftedText:
    """A sweep or a log of the folder.

    Attributes
    ----------
    file : str
        Relative to the folder.
    name : NameGuess
        What its name tells.
    kind : TextKind
    """

    file: str
    name: NameGuess
    kind: TextKind


def drafted_texts(folder: Path) -> list[DraftedText]:
    """Every sweep and log in a folder and the folders within it, in order of name."""
    found = []
    for path in find_texts(folder):
        kind = kind_of_text(path)
        if kind is not None:
            file = path.relative_to(folder).as_posix()
            found.append(DraftedText(file, _guessed(file), kind))
    return found


def _guessed(file: str) -> NameGuess:
    """What the name tells, words such as "sweep" or "log" left out of it."""
    path = PurePosixPath(file)
    bare = _WORDS.sub("", path.stem)
    return guess(path.with_name(f"{bare}{path.suffix}").as_posix() if bare else file)


def unclear_of(texts: list[DraftedText]) -> list[tuple[str, list[str]]]:
    """What a person has to fill in or confirm, and the files that it is about."""
    sweeps = [text for text in texts if text.kind.kind == "sweep"]
    return [
        (
            "Sweeps: taken for such by their content, their specimen from the name. Put right what is not so",
            [text.file for text in sweeps],
        ),
        (
            "Sweeps: columns told by their numbers alone. State columns to be sure",
            [text.file for text in sweeps if text.kind.told_by == "content"],
        ),
        (
            "Sweeps: no reference electrode in the file. Add reference",
            [text.file for text in sweeps if text.kind.reference is None],
        ),
        ("Sweeps: wetted area in the cell. Add area_cm2", [text.file for text in sweeps]),
        (
            "Logs: taken for such by their headings, their specimen from the name. Name all that were in the "
            "rig, and state set points",
            [text.file for text in texts if text.kind.kind == "log"],
        ),
    ]


def draft_entries(texts: list[DraftedText]) -> list[str]:
    """Lines of the entries."""
    lines = []
    for text in texts:
        specimen = json.dumps(text.name.specimen, ensure_ascii=False)
        file = json.dumps(text.file, ensure_ascii=False)
        lines += [f"[[{text.kind.kind}]]", f"file = {file}  # guess, by its content: {text.kind.told}"]
        if text.kind.kind == "sweep":
            lines += [
                f"specimen = {specimen}  # guessed from the name",
                "# area_cm2 = ...  # wetted, in the cell",
            ]
            if text.kind.reference is None:
                lines.append('# reference = "..."  # not in the file')
            lines.append('# twin_of = "..."  # exposed specimen that this electrode stands for')
        else:
            lines += [
                f"specimens = [{specimen}]  # guessed from the name",
                "# temperature_degC = ...  # set points, each with its tolerance",
                "# temperature_tolerance_degC = ...",
                "# pH = ...",
                "# pH_tolerance = ...",
            ]
            if "acid" in text.kind.told.split(", "):
                lines.append("# acid_mol_per_L = ...")
        lines.append("")
    return lines
