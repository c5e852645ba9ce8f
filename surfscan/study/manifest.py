"""The manifest `study.toml`: reading it, and every fault of it with its line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from surfscan.errors import InputError
from surfscan.materials.catalogue import find_material
from surfscan.study.criterion_entries import CriterionEntry, criterion_clashes
from surfscan.study.entries import Group, ImageEntry, Review, Specimen, Study, StudySettings, image_id
from surfscan.study.faults import describe, suggest_key
from surfscan.study.findings import Finding, as_error
from surfscan.study.locator import Key, line_of, locate_keys
from surfscan.study.rate_entries import RATE_TABLES, Material
from surfscan.study.specimens import read_specimens_csv

FILE_NAME = "study.toml"

_TABLES: dict[str, type[BaseModel]] = {
    "material": Material,
    "group": Group,
    "specimen": Specimen,
    "image": ImageEntry,
    **RATE_TABLES,
    "criterion": CriterionEntry,
}
_TOP = ("title", "note", "specimens_csv", "settings", "review", *_TABLES)


def manifest_path(path: str | Path) -> Path:
    """`study.toml` from its own path or that of its folder.

    Raises
    ------
    InputError
        If there is none.
    """
    given = Path(path)
    found = given / FILE_NAME if given.is_dir() else given
    if not found.is_file():
        raise InputError(
            found,
            "there is no study here",
            f"Run 'surfscan start {given if given.is_dir() else given.parent}' to draft one, "
            "or name the folder that holds study.toml",
        )
    return found


def load_study(path: str | Path) -> Study:
    """Read and validate a study.

    Parameters
    ----------
    path : path
        `study.toml` or its folder.

    Returns
    -------
    Study

    Raises
    ------
    InputError
        One error that lists every fault with its file and line. Files that are missing are no fault
        of the manifest: `surfscan.study.check.check_study` reports them, and measuring goes on past them.
    """
    study, faults = ManifestReader(path).read()
    if study is None:
        raise as_error(manifest_path(path), faults)
    return study


class ManifestReader:
    """One pass over a manifest that keeps the line of everything.

    Parameters
    ----------
    path : path
        `study.toml` or its folder.

    Attributes
    ----------
    path : Path
        The manifest.
    faults : list of Finding
        All that is wrong with it.
    rows : dict of str to dict of int to dict
        After reading, every table ("image", "specimen", ...) as written, by its number in the file.
    tables : dict of str to dict of int to model
        Those that are sound by themselves: what can still be checked where others are at fault.
    settings : StudySettings or None
        After reading; None where they are at fault.
    review : Review or None
        Likewise.
    specimens_are_readable : bool
        Whether `rows` holds every specimen: not so where their CSV is missing or at fault.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = manifest_path(path)
        self.faults: list[Finding] = []
        self.rows: dict[str, dict[int, dict[str, Any]]] = {name: {} for name in _TABLES}
        self.tables: dict[str, dict[int, Any]] = {name: {} for name in _TABLES}
        self.settings: StudySettings | None = None
        self.review: Review | None = None
        self._lines: dict[Key, int] = {}
        self._specimen_where: dict[int, str] = {}
        self.specimens_are_readable = True

    def where(self, *key: str | int) -> str:
        """``study.toml:LINE`` of a key, or of a specimen's row in its CSV."""
        if len(key) > 1 and key[0] == "specimen" and key[1] in self._specimen_where:
            return self._specimen_where[key[1]]
        return f"{self.path.name}:{line_of(self._lines, key)}"

    def fault(self, where: str, what: str, remedy: str) -> None:
        """Note a fault."""
        self.faults.append(Finding("error", where, what, remedy))

    def read(self) -> tuple[Study | None, list[Finding]]:
        """The study, None where it has faults, and the faults."""
        raw = self._parse()
        if raw is None:
            return None, self.faults
        self._check_top(raw)
        self.settings = self._validate(StudySettings, raw.get("settings", {}), ("settings",))
        self.review = self._validate(Review, raw.get("review", {}), ("review",))
        self.rows = {name: self._rows(name, raw) for name in _TABLES}
        for name, model in _TABLES.items():
            found = {i: self._validate(model, row, (name, i)) for i, row in self.rows[name].items()}
            self.tables[name] = {i: table for i, table in found.items() if table is not None}
        self._check_names()
        if self.settings is None or self.review is None or self.faults:
            self.faults.sort(key=_file_and_line)
            return None, self.faults
        study = Study(
            folder=self.path.parent,
            title=raw["title"],
            note=raw.get("note", ""),
            settings=self.settings,
            review=self.review,
            materials=tuple(self.tables["material"].values()),
            groups=tuple(self.tables["group"].values()),
            specimens=tuple(self.tables["specimen"].values()),
            images=tuple(self.tables["image"].values()),
            sweeps=tuple(self.tables["sweep"].values()),
            weighings=tuple(self.tables["weighing"].values()),
            gas=tuple(self.tables["gas"].values()),
            logs=tuple(self.tables["log"].values()),
            criteria=tuple(self.tables["criterion"].values()),
        )
        return study, []

    def _parse(self) -> dict[str, Any] | None:
        try:
            text = self.path.read_bytes().decode("utf-8-sig")
        except OSError as error:
            self.fault(
                f"{self.path.name}:1", f"it cannot be read ({error.strerror})", "Check the rights to it"
            )
            return None
        except UnicodeDecodeError as error:
            line = error.object[: error.start].count(b"\n") + 1
            self.fault(
                f"{self.path.name}:{line}",
                "the text is not UTF-8",
                "Save the file as UTF-8 (in the editor: Save as, encoding UTF-8)",
            )
            return None
        try:
            raw = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            found = re.search(r"\(at line (\d+), column \d+\)", str(error))
            line = int(found[1]) if found else text.count("\n") + 1
            what = re.sub(r" \(at .*\)$", "", str(error))
            self.fault(
                f"{self.path.name}:{line}",
                f"not valid TOML: {what}",
                'Write KEY = VALUE on each line, text in "quotes"',
            )
            return None
        self._lines = locate_keys(text)
        return raw

    def _check_top(self, raw: Mapping[str, Any]) -> None:
        for name, value in raw.items():
            if name not in _TOP:
                self.fault(self.where(name), f"unknown key {name!r}", suggest_key(name, value, list(_TOP)))
        if not isinstance(raw.get("title", ""), str) or not raw.get("title", "").strip():
            self.fault(self.where("title"), "the study has no title", 'Add title = "..." as the first line')
        for name in ("note", "specimens_csv"):
            if not isinstance(raw.get(name, ""), str):
                self.fault(self.where(name), f"{name} is not text", f'Write {name} = "..."')

    def _rows(self, name: str, raw: Mapping[str, Any]) -> dict[int, dict[str, Any]]:
        if name == "specimen" and isinstance(raw.get("specimens_csv"), str):
            return self._csv_rows(raw)
        rows = raw.get(name, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            self.fault(
                self.where(name), f"{name!r} is not a list of tables", f"Head each one with [[{name}]]"
            )
            return {}
        return dict(enumerate(rows))

    def _csv_rows(self, raw: Mapping[str, Any]) -> dict[int, dict[str, Any]]:
        name = raw["specimens_csv"]
        if "specimen" in raw:
            self.specimens_are_readable = False
            self.fault(
                self.where("specimen"),
                "specimens stand both here and in specimens_csv",
                "Keep one of the two",
            )
            return {}
        csv_path = self.path.parent / name
        self.specimens_are_readable = csv_path.is_file()
        if not self.specimens_are_readable:
            self.fault(
                self.where("specimens_csv"),
                f"there is no file {name!r}",
                "Correct the name, or write [[specimen]] tables instead",
            )
            return {}
        names = [name for name in Specimen.model_fields if name != "wetted_surface"]  # a table of its own
        rows, faults = read_specimens_csv(csv_path, names, _text_fields(Specimen))
        self.faults += faults
        self.specimens_are_readable = not faults
        self._specimen_where = {i: f"{csv_path.name}:{row.line}" for i, row in enumerate(rows)}
        return {i: row.values for i, row in enumerate(rows)}

    def _validate(self, model: type[Any], row: object, key: Key) -> Any:
        try:
            return model.model_validate(row, strict=True)
        except ValidationError as error:
            for path, what, remedy in describe(error, model):
                self.fault(self.where(*key, *path), what, remedy)
            return None

    def _check_names(self) -> None:
        """Names that stand twice or lead nowhere, in tables that have other faults as well."""
        rows = self.rows
        materials = self._unique("material", "name", rows["material"])
        groups = self._unique("group", "name", rows["group"])
        specimens = self._unique("specimen", "id", rows["specimen"])
        for i, group in rows["group"].items():
            if group.get("baseline") is not None and group.get("baseline") == group.get("name"):
                self.fault(
                    self.where("group", i, "baseline"),
                    f"group {group['name']!r} is its own baseline",
                    "Name the control group, or leave baseline out",
                )
        self._known("group", "baseline", rows["group"], "group", groups)
        self._known("specimen", "group", rows["specimen"], "group", groups)
        metals = {row["material"] for row in rows["specimen"].values() if _is_listed(row.get("material"))}
        self._known("specimen", "material", rows["specimen"], "material", materials | metals)
        self._known("log", "group", rows["log"], "group", groups)
        self._known("criterion", "groups", rows["criterion"], "group", groups)
        if self.specimens_are_readable:
            for table in ("image", *RATE_TABLES):
                for key in ("specimen", "specimens", "twin_of"):
                    self._known(table, key, rows[table], "specimen", specimens)
        self._check_entries()

    def _check_entries(self) -> None:
        """Entries that stand twice, and logs that do not go with the general settings."""
        first: dict[str, str] = {}
        for table, key in (("image", "file"), ("sweep", "file"), ("gas", "file"), ("log", "file")):
            self._unique(table, key, self.rows[table])
            for i, row in self.rows[table].items():
                name, here = row.get(key), self.where(table, i, key)
                other = first.get(name, "") if isinstance(name, str) else ""
                if other and other.split(" ")[0] != table:
                    self.fault(
                        here,
                        f"{name!r} is named as {table}, and as {other}",
                        "Keep the entry that says what the file holds",
                    )
                elif isinstance(name, str):
                    first.setdefault(name, f"{table} at {here}")
        for earlier, i, what, remedy in criterion_clashes(
            self.tables["criterion"], tuple(self.tables["group"].values())
        ):
            at = self.where("criterion", earlier, "figure")
            self.fault(self.where("criterion", i, "figure"), f"{what}; the other stands at {at}", remedy)
        self._unique("weighing", "specimen", self.rows["weighing"])
        unfiled = {i: row for i, row in self.rows["gas"].items() if "file" not in row}
        self._unique("gas", "specimen", unfiled)
        for i, log in self.tables["log"].items():
            if self.settings is None:
                continue
            try:
                log.settings(self.settings.exposure)
            except ValidationError as error:
                for _, what, remedy in describe(error, StudySettings):
                    self.fault(self.where("log", i), f"with [settings.exposure] it cannot be: {what}", remedy)

    def _unique(self, table: str, key: str, rows: Mapping[int, Mapping[str, Any]]) -> set[str]:
        first: dict[str, int] = {}
        for i, row in rows.items():
            if not isinstance(row.get(key), str):
                continue
            name = row[key] if table != "image" else image_id(row[key], row.get("page"))
            if name in first:
                self.fault(
                    self.where(table, i, key),
                    f"{table} {name!r} stands twice, first at {self.where(table, first[name], key)}",
                    "Remove one of the two, or give it a name of its own",
                )
            first.setdefault(name, i)
        return set(first)

    def _known(
        self, table: str, key: str, rows: Mapping[int, Mapping[str, Any]], kind: str, known: set[str]
    ) -> None:
        for i, row in rows.items():
            names = row.get(key)
            for k, name in enumerate(names if isinstance(names, list) else [names]):
                if not isinstance(name, str) or name in known:
                    continue
                near = get_close_matches(name, sorted(known), 1)
                hint = f"Did you mean {near[0]!r}? Else add" if near else "Add"
                self.fault(
                    self.where(table, i, key, k) if isinstance(names, list) else self.where(table, i, key),
                    f"there is no {kind} {name!r}",
                    f"{hint} a row for it" if self._from_csv(kind) else f"{hint} a [[{kind}]] table for it",
                )

    def _from_csv(self, kind: str) -> bool:
        return kind == "specimen" and bool(self._specimen_where)


def _file_and_line(fault: Finding) -> tuple[bool, str, int]:
    name, _, line = fault.where.rpartition(":")
    return (name != FILE_NAME, name, int(line))


def _is_listed(name: object) -> bool:
    """Whether a metal is known by that name without being stated."""
    if not isinstance(name, str):
        return False
    try:
        find_material(name)
    except InputError:
        return False
    return True


def _text_fields(model: type[BaseModel]) -> list[str]:
    return [name for name, field in model.model_fields.items() if "float" not in str(field.annotation)]
