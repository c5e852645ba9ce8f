"""Everything wrong with a study, found at once and before a long run."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from surfscan.calibration.metadata import REMEDY
from surfscan.errors import InputError
from surfscan.procedures.settings import SectionSettings, StrutSettings
from surfscan.store.corrections import corrections_of
from surfscan.study.correction_checks import correction_findings
from surfscan.study.criterion_checks import criterion_findings
from surfscan.study.entries import COMPANIONS, Group, ImageEntry, Shows, Specimen
from surfscan.study.findings import Finding
from surfscan.study.folder import find_false_images, find_images, find_texts
from surfscan.study.inputs import open_companion, open_entry, open_reviewed
from surfscan.study.manifest import ManifestReader
from surfscan.study.part_checks import (
    companion_doubts,
    companion_entry_fault,
    is_the_image_itself,
    needs_scale,
    no_loss,
    shape_fault,
    unusual_sizes,
)
from surfscan.study.rate_checks import named_in_entries, rate_findings, specimens_in_entries
from surfscan.study.tasks import DRAWN_SIZES, with_drawn_sizes
from surfscan.study.text_files import kind_of_text

if TYPE_CHECKING:
    from surfscan.images import HeightMap, Micrograph

FEWEST_SPECIMENS = 3
"""A group of fewer specimens gives no interval worth the name (common practice, no source)."""

_LISTED = 10

_PICTURED: dict[Shows, str] = {
    "surface": "pictures of the surface",
    "heights": "height maps",
    "strut": "pictures of struts",
    "section": "pictures of sections",
}


def check_study(path: str | Path) -> list[Finding]:
    """Check the manifest, every image and every mask; measure nothing.

    Parameters
    ----------
    path : path
        `study.toml` or its folder.

    Returns
    -------
    list of Finding
        In the order of the manifest's lines, errors and warnings together; empty where all is well.

    Raises
    ------
    InputError
        If there is no study at `path`.
    """
    return _Check(path).findings()


class _Check:
    def __init__(self, path: str | Path) -> None:
        self.manifest = ManifestReader(path)
        self.study, self.faults = self.manifest.read()
        self.folder = self.manifest.path.parent
        self.images: dict[int, ImageEntry] = self.manifest.tables["image"]
        self.specimens: dict[int, Specimen] = self.manifest.tables["specimen"]
        self.groups: dict[int, Group] = self.manifest.tables["group"]
        self.corrections = corrections_of(self.folder, (i.image_id for i in self.images.values()))

    def findings(self) -> list[Finding]:
        found = list(self.faults)
        seen: dict[str, str] = {}
        for i, image in self.images.items():
            found += self.file(i, image, seen)
            found += self.statements(i, image)
            found += self.comparison(i, image)
        found += self.drawn_sizes()
        found += rate_findings(self.manifest, self.study)
        found += criterion_findings(self.manifest, self.study)
        found += self.fields()
        found += self.exposures()
        found += self.replicates()
        found += self.folder_contents()
        found += correction_findings(self.manifest, self.study, self.corrections)
        return sorted(found, key=lambda finding: _order(finding, self.manifest.path.name))

    def warning(self, where: str, what: str, remedy: str) -> Finding:
        return Finding("warning", where, what, remedy)

    def file(self, i: int, image: ImageEntry, seen: dict[str, str]) -> Iterator[Finding]:
        """The image and its region mask, opened as they will be for measuring."""
        where = self.manifest.where("image", i, "file")
        path = self.folder / image.file
        if not path.is_file():
            yield Finding("error", where, f"{image.file} is missing", self.nearest(path))
            return
        if Path(image.file).is_absolute():
            yield self.warning(
                where,
                f"{image.file} is an absolute path",
                "Write it relative to study.toml, so that the study can be moved",
            )
        try:
            opened = self.opened(image)
        except InputError as error:
            yield Finding("error", where, f"{image.file}: {error.fault}", error.remedy)
            return
        for text in opened.warnings:
            remedy = "See whether it matters here"
            if text.endswith(REMEDY):
                settings = self.part_settings(image)
                useless = " and drawn sizes cannot be used" if settings and needs_scale(settings) else ""
                text, remedy = (
                    text.removesuffix(REMEDY),
                    f"Add pixel_size_um = ... (µm) to this image, else sizes come in px{useless}",
                )
            yield self.warning(where, f"{image.file}: {text.strip().removesuffix('.')}", remedy)
        twin = seen.setdefault(f"{opened.source.sha256}#{opened.source.page or 0}", image.image_id)
        if twin != image.image_id:
            yield Finding(
                "error",
                where,
                f"{image.image_id} holds the same {'heights' if image.shows == 'heights' else 'picture'} as "
                f"{twin}",
                "Remove one of the two: a field counted twice makes the intervals too narrow",
            )
        for role, name in image.companions().items():
            yield from self.companion(i, image, opened, role, name)

    def opened(self, image: ImageEntry) -> Micrograph | HeightMap:
        """The image as it will be for measuring: with a scale that somebody confirmed."""
        if self.study is None:
            return open_entry(self.folder, image)
        return open_reviewed(self.study, image, self.corrections)[0]

    def companion(
        self, i: int, image: ImageEntry, opened: Micrograph | HeightMap, role: str, name: str
    ) -> Iterator[Finding]:
        """A file that belongs to an image, opened as it will be for measuring."""
        where = self.manifest.where("image", i, role)
        path = self.folder / name
        if not path.is_file():
            yield Finding("error", where, f"the {COMPANIONS[role]} {name} is missing", self.nearest(path))
            return
        try:
            companion = open_companion(self.folder, image, opened, role)
        except InputError as error:
            yield Finding("error", where, f"{name}: {error.fault}", error.remedy)
            return
        if isinstance(companion, np.ndarray):
            return
        entry = next((other for other in self.images.values() if other.image_id == name), None)
        fault = companion_entry_fault(image, role, entry)
        if fault:
            what, remedy = fault
            yield Finding("error", where, f"{name}: {what}", remedy)
        if is_the_image_itself(opened, companion):
            yield Finding(
                "error",
                where,
                f"{name}: as {COMPANIONS[role]} it is the image itself",
                "Name the file that was meant: compared with itself an image has lost nothing",
            )
        for what, remedy in companion_doubts(image, opened, role, companion):
            yield self.warning(where, f"{name}: {what}", remedy)

    def part_settings(self, image: ImageEntry) -> StrutSettings | SectionSettings | None:
        """Settings for struts or a section with the drawn sizes of the specimen; None where at fault."""
        own = next((s for s in self.specimens.values() if s.id == image.specimen), None)
        if own is None or self.manifest.settings is None:
            return None
        settings = self.manifest.settings.of(image.procedures[0], image.kind)
        if isinstance(settings, StrutSettings | SectionSettings):
            return with_drawn_sizes(settings, image, own)
        return None

    def comparison(self, i: int, image: ImageEntry) -> Iterator[Finding]:
        """Struts and sections that nothing says the original size of."""
        settings = self.part_settings(image)
        lacking = no_loss(image, settings) if settings else None
        if lacking:
            what, remedy = lacking
            yield self.warning(self.manifest.where("image", i, "file"), f"{image.file} {what}", remedy)

    def drawn_sizes(self) -> Iterator[Finding]:
        """Drawn sizes that do not fit together, though each is sound by itself, or look like another unit."""
        places = {specimen.id: i for i, specimen in self.specimens.items()}
        found: dict[tuple[str, str], Finding] = {}
        for image in self.images.values():
            settings = self.part_settings(image)
            if settings is None:
                continue
            i = places[image.specimen]
            own = [key for key in DRAWN_SIZES if getattr(self.specimens[i], key) is not None]
            fault = shape_fault(settings)
            doubts = unusual_sizes(settings)
            for name, what, remedy in [fault, *doubts] if fault else doubts:
                key = next((k for k in own if DRAWN_SIZES[k] == name), None)
                is_fault = (name, what, remedy) == fault
                if key or (is_fault and own):
                    where = self.manifest.where("specimen", i, key or own[0])
                else:
                    where = self.manifest.where("settings", image.procedures[0], name)
                found.setdefault(
                    (where, what), Finding("error" if is_fault else "warning", where, what, remedy)
                )
        yield from found.values()

    def nearest(self, path: Path) -> str:
        names = [other.name for other in path.parent.iterdir()] if path.parent.is_dir() else []
        near = get_close_matches(path.name, names, 1)
        return f"Did you mean {near[0]!r}?" if near else "Correct the name, or put the file there"

    def statements(self, i: int, image: ImageEntry) -> Iterator[Finding]:
        """What the manifest says, or does not say, about how the image came to be."""
        where = self.manifest.where("image", i, "condition")
        if "pits" in image.procedures and image.condition == "with_product":
            yield self.warning(
                where,
                f"{image.file} shows a surface with corrosion product, which may hide pits",
                "Count pits on the cleaned surface, or leave 'pits' out of its procedures",
            )
        if image.condition == "not_stated":
            yield self.warning(
                where,
                f"{image.file} does not state the condition of the surface",
                'Add condition = "as_received", "with_product" or "cleaned"',
            )
        if image.condition == "cleaned" and not image.cleaning:
            yield self.warning(where, f"{image.file} does not say how it was cleaned", 'Add cleaning = "..."')
        if image.field_choice == "not_stated":
            yield self.warning(
                self.manifest.where("image", i, "field_choice"),
                f"{image.file} does not state how the field was chosen",
                'Add field_choice = "systematic", "random" or "worst_seen"',
            )

    def fields(self) -> Iterator[Finding]:
        """Specimens that nothing, or nothing fair, was imaged of."""
        in_entries = specimens_in_entries(self.manifest)
        if not self.images and not in_entries and not self.faults:
            yield Finding(
                "error", self.manifest.path.name, "the study names no image", "Add [[image]] tables"
            )
        imaged = self.stated("image", "specimen", "specimen", "id")
        for i, specimen in self.specimens.items():
            shown = [image for image in self.images.values() if image.specimen == specimen.id]
            where = self.manifest.where("specimen", i, "id")
            if imaged is None or imaged[specimen.id] != len(shown):
                continue
            if not shown and specimen.id not in in_entries:
                yield self.warning(
                    where, f"specimen {specimen.id!r} has no image", "Add its images, or take it out"
                )
            if not shown:
                continue
            kinds = dict.fromkeys(image.kind for image in shown)
            worst = [
                kind
                for kind in kinds
                if all(image.field_choice == "worst_seen" for image in shown if image.kind == kind)
            ]
            if worst:
                only = "fields" if len(worst) == len(kinds) else " and ".join(_PICTURED[k] for k in worst)
                yield self.warning(
                    where,
                    f"specimen {specimen.id!r} has only worst-seen {only}, which enter no mean",
                    "Add fields chosen systematically or at random",
                )

    def exposures(self) -> Iterator[Finding]:
        """Exposure hours that are missing, and baselines that were exposed."""
        in_entries = specimens_in_entries(self.manifest)
        for i, specimen in self.specimens.items():
            only_swept = in_entries.get(specimen.id) == {"sweep"} and not any(
                image.specimen == specimen.id for image in self.images.values()
            )
            if specimen.exposure_h is None and not only_swept:
                yield self.warning(
                    self.manifest.where("specimen", i, "id"),
                    f"specimen {specimen.id!r} does not state its exposure",
                    "Add exposure_h = ... in hours (0 as received)",
                )
        for i, group in self.groups.items():
            exposed = [s.id for s in self.specimens.values() if s.group == group.baseline and s.exposure_h]
            if exposed:
                yield self.warning(
                    self.manifest.where("group", i, "baseline"),
                    f"baseline {group.baseline!r} holds exposed specimens ({_listed(exposed)})",
                    "A baseline is made of specimens as received: correct the group or the exposure",
                )

    def replicates(self) -> Iterator[Finding]:
        """Groups of too few specimens."""
        members = self.stated("specimen", "group", "group", "name")
        if members is None:
            return
        for i, group in self.groups.items():
            count = members[group.name]
            if count < FEWEST_SPECIMENS:
                yield self.warning(
                    self.manifest.where("group", i, "name"),
                    f"group {group.name!r} has {count} specimen{'' if count == 1 else 's'}",
                    f"The specimen is the replicate: {FEWEST_SPECIMENS} or more give a usable interval"
                    if count
                    else "Take it out, or name it in a specimen",
                )

    def stated(self, table: str, key: str, kind: str, name: str) -> Counter[str] | None:
        """How often a table names each of a kind, faulty rows too; None where that cannot be told."""
        known = [row.get(name) for row in self.manifest.rows[kind].values()]
        rows = self.manifest.rows[table].values()
        names = [str(row[key]) for row in rows if row.get(key) in known]
        told = self.manifest.specimens_are_readable and len(names) == len(rows)
        return Counter(names) if told else None

    def folder_contents(self) -> Iterator[Finding]:
        """Images that lie in the folder and stand nowhere in the manifest."""
        named = {
            (self.folder / name.replace("\\", "/")).resolve()
            for row in self.manifest.rows["image"].values()
            for name in (row.get(key) for key in ("file", *COMPANIONS))
            if isinstance(name, str)
        }
        named |= {
            (self.folder / name.replace("\\", "/")).resolve() for name in named_in_entries(self.manifest)
        }
        yield from self.stray_texts(named)
        strays = [path for path in find_images(self.folder) if path.resolve() not in named]
        if strays:
            names = [path.relative_to(self.folder).as_posix() for path in strays]
            yield self.warning(
                self.manifest.path.name,
                f"{len(names)} image{'' if len(names) == 1 else 's'} in the folder "
                f"{'is' if len(names) == 1 else 'are'} not in the study ({_listed(names)})",
                "Add [[image]] tables, or leave them out on purpose",
            )
        false = [path for path in find_false_images(self.folder) if path.resolve() not in named]
        if false:
            names = [path.relative_to(self.folder).as_posix() for path in false]
            yield self.warning(
                self.manifest.path.name,
                f"{len(names)} file{' is' if len(names) == 1 else 's are'} named as an image but can be read "
                f"as none ({_listed(names)})",
                "Copy or export them again if they belong to the study",
            )

    def stray_texts(self, named: set[Path]) -> Iterator[Finding]:
        """Sweeps and logs that stand nowhere in the manifest; they are then known, and no images."""
        strays: dict[str, list[str]] = {}
        for path in find_texts(self.folder):
            kind = None if path.resolve() in named else kind_of_text(path)
            if kind is not None:
                strays.setdefault(kind.kind, []).append(path.relative_to(self.folder).as_posix())
                named.add(path.resolve())
        for kind_name, names in strays.items():
            words = {"sweep": "potential sweep", "log": "rig log"}[kind_name]
            yield self.warning(
                self.manifest.path.name,
                f"{len(names)} {words}{'' if len(names) == 1 else 's'} in the folder "
                f"{'is' if len(names) == 1 else 'are'} not in the study ({_listed(names)})",
                f"Add [[{kind_name}]] tables, or leave them out on purpose",
            )


def _listed(names: list[str]) -> str:
    more = len(names) - _LISTED
    return ", ".join(names[:_LISTED]) + (f" and {more} more" if more > 0 else "")


def _order(finding: Finding, manifest: str) -> tuple[bool, str, int]:
    """By file, the manifest first, and line; what has no line comes last."""
    name, _, line = finding.where.rpartition(":")
    if not line.isdigit():
        return (True, finding.where, 0)
    return (name != manifest, name, int(line))
