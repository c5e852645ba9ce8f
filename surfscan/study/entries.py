"""What a study's manifest holds: settings, materials, groups, specimens, images, each checked by itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from surfscan.calibration.units import um_per_unit
from surfscan.electrochemistry.settings import SWEEP_SETTINGS, SweepSettings
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.settings import IMMERSION_SETTINGS, ImmersionSettings
from surfscan.materials import material as metals
from surfscan.materials.catalogue import find_material
from surfscan.procedures.settings import (
    PROCEDURE_SETTINGS,
    DegradedSettings,
    HeightPitSettings,
    PitSettings,
    SectionSettings,
    StrutSettings,
    TextureSettings,
)
from surfscan.study.criterion_entries import CriterionEntry
from surfscan.study.entry_base import (
    ManifestTable,
    Positive,
    RelativeFile,
    Share,
    Text,
    as_tuple,
    own_fault,
    posix,
)
from surfscan.study.rate_entries import (
    GasEntry,
    LogEntry,
    Material,
    RateEntry,
    SweepEntry,
    WeighingEntry,
)
from surfscan.study.surface_entries import WettedSurface

Procedure = Literal["pits", "degraded", "texture", "struts", "section"]
Shows = Literal["surface", "heights", "strut", "section"]
Settings = (
    PitSettings | DegradedSettings | HeightPitSettings | TextureSettings | StrutSettings | SectionSettings
)
SETTINGS_TABLES: Mapping[str, type[BaseModel]] = (
    PROCEDURE_SETTINGS | SWEEP_SETTINGS | IMMERSION_SETTINGS | {"exposure": ExposureSettings}
)
"""Table of settings, as files name it -> its class, for all that is measured."""

PROCEDURES_BY_KIND: dict[Shows, tuple[Procedure, ...]] = {
    "surface": ("pits", "degraded"),
    "heights": ("pits", "texture"),
    "strut": ("struts",),
    "section": ("section",),
}
"""What an image shows -> the procedures that can be run on it, all of them where it names none."""

COMPANIONS = {
    "region": "region mask",
    "datum": "datum mask",
    "unexposed": "unexposed height map",
    "before": "picture before exposure",
    "side_view": "side view",
    "thickness_map": "height map for the thickness",
    "twin": "section of an unexposed twin",
}
"""Files that may belong to an image, by role -> what they are called."""

ROLES: dict[str, tuple[str, ...]] = {
    "pits": ("region", "datum", "unexposed"),
    "degraded": ("region",),
    "texture": ("region",),
    "struts": ("region", "before", "side_view", "thickness_map"),
    "section": ("region", "before", "twin"),
}
"""Procedure -> roles of the files that enter it, where an image has them."""

ROLES_BY_KIND: dict[Shows, tuple[str, ...]] = {
    "surface": ("region",),
    "heights": ROLES["pits"],
    "strut": ROLES["struts"],
    "section": ROLES["section"],
}
"""What an image shows -> roles of the files that may belong to it."""

ORIGINAL_LEVEL = ("datum", "unexposed")
"""Those of them that give the original level of a surface; only pits are measured against it."""


_SHOWN: dict[Shows, str] = {
    "surface": "a surface",
    "heights": "heights",
    "strut": "struts",
    "section": "a cross-section",
}
_MEASURED_ON: dict[Procedure, str] = {
    "pits": "pits are measured on surfaces and height maps",
    "degraded": "degraded area is told by brightness",
    "texture": "texture is measured on heights",
    "struts": "strut widths are measured on pictures of struts",
    "section": "remaining metal is measured on cross-sections",
}
_BY_KIND: dict[str, tuple[Shows, ...]] = {
    "height_unit": ("heights",),
    "cut_angle_deg": ("section",),
    **{
        role: tuple(shows for shows, roles in ROLES_BY_KIND.items() if role in roles)
        for role in COMPANIONS
        if role != "region"
    },
}
"""Keys that only some kinds of image may have -> these kinds."""


def _write_shows(kinds: Iterable[str]) -> str:
    """The rest of a remedy: what to write where the file shows one of these kinds."""
    written = " or ".join(f'shows = "{kind}"' for kind in kinds)
    return f"or write {written} if that is what the file holds"


def _pair(value: object) -> object:
    """One pixel size for both directions, or [x, y]."""
    if isinstance(value, (list, tuple)):
        return tuple(value)
    return value if isinstance(value, str) or value is None else (value, value)


class StudySettings(ManifestTable):
    """Settings of the procedures, one table each."""

    pits: PitSettings = Field(PitSettings(), description="Settings of the pits procedure on pictures.")
    degraded: DegradedSettings = Field(
        DegradedSettings(), description="Settings of the degraded-area procedure."
    )
    height_pits: HeightPitSettings = Field(
        HeightPitSettings(), description="Settings of the pits procedure on height maps."
    )
    texture: TextureSettings = Field(TextureSettings(), description="Settings of the texture procedure.")
    struts: StrutSettings = Field(
        StrutSettings(),
        description="Settings of the struts procedure; a specimen's drawn sizes take the place of those "
        "here.",
    )
    section: SectionSettings = Field(
        SectionSettings(),
        description="Settings of the section procedure; a specimen's drawn sizes take the place of those "
        "here.",
    )

    sweep: SweepSettings = Field(SweepSettings(), description="Settings of the analysis of sweeps.")
    immersion: ImmersionSettings = Field(
        ImmersionSettings(), description="Settings of mass loss, gas and acid."
    )
    exposure: ExposureSettings = Field(
        ExposureSettings(),
        description="Settings of rig logs; what a log states takes the place of those here.",
    )

    @field_validator("sweep", mode="before")
    @classmethod
    def _pairs(cls, given: Any) -> Any:
        return {k: as_tuple(v) for k, v in given.items()} if isinstance(given, Mapping) else given

    def of(self, procedure: str, shows: Shows | None = None) -> Settings:
        """Settings of the named procedure on an image of that kind (None: a picture)."""
        table = "height_pits" if (procedure, shows) == ("pits", "heights") else procedure
        found: Settings = getattr(self, table)
        return found


class Group(ManifestTable):
    """Specimens of one kind and treatment."""

    name: Text
    baseline: Text | None = Field(
        None, description="Control group (as received) whose mean is subtracted from this one's."
    )


class Specimen(ManifestTable):
    """One exposed part: the replicate of every statistic."""

    id: Text
    group: Text
    exposure_h: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = Field(
        None, description="Hours of exposure; 0 as received; left out where not known."
    )
    material: Text | None = None
    surface_area_mm2: Positive | None = Field(None, description="Wetted surface.")
    surface_area_relative_uncertainty: Share | None = Field(
        None, description="Relative standard uncertainty (k = 1) of surface_area_mm2."
    )
    wetted_surface: WettedSurface | None = Field(
        None, description="In place of surface_area_mm2: shape and dimensions that it is computed from."
    )
    drawn_strut_width_um: Positive | None = None
    drawn_thickness_um: Positive | None = None
    drawn_shape: Literal["rectangle", "ellipse", "trapezoid"] | None = Field(
        None, description="Section of its struts as drawn; left out, as the settings say."
    )
    drawn_top_width_um: Positive | None = Field(None, description="Trapezoid: width of the narrower face.")
    note: str = ""

    @model_validator(mode="after")
    def _has_one_surface(self) -> Specimen:
        if self.surface_area_mm2 is not None and self.wetted_surface is not None:
            raise own_fault(
                f"the surface of {self.id!r} is stated twice: surface_area_mm2 = {self.surface_area_mm2:g}, "
                f"and wetted_surface gives {self.wetted_surface.area().area_mm2:.5g} mm²",
                "Keep the one that holds",
                "wetted_surface",
            )
        if self.surface_area_relative_uncertainty is not None and self.surface_area_mm2 is None:
            raise own_fault(
                "surface_area_relative_uncertainty is stated without surface_area_mm2",
                "Add surface_area_mm2; the uncertainty of a wetted_surface comes from its dimensions",
                "surface_area_relative_uncertainty",
            )
        return self

    @property
    def wetted_mm2(self) -> float | None:
        """Wetted surface, stated or computed, mm²; None where neither is known."""
        if self.wetted_surface is not None:
            return self.wetted_surface.area().area_mm2
        return self.surface_area_mm2

    @property
    def wetted_relative_uncertainty(self) -> float | None:
        """Its relative standard uncertainty; None where not stated.

        Dimensions without any uncertainty state none.
        """
        if self.wetted_surface is None:
            return self.surface_area_relative_uncertainty
        return self.wetted_surface.area().relative_uncertainty or None

    @field_validator("drawn_top_width_um")
    @classmethod
    def _goes_with_the_shape(cls, value: float | None, info: ValidationInfo) -> float | None:
        shape, width = info.data.get("drawn_shape"), info.data.get("drawn_strut_width_um")
        if value is None:
            return value
        if shape not in (None, "trapezoid"):
            raise own_fault(
                f"drawn_top_width_um belongs to a trapezoid, and drawn_shape is {shape!r}",
                'Take it out, or write drawn_shape = "trapezoid"',
            )
        if width is not None and value > width:
            raise own_fault(
                f"drawn_top_width_um = {value:g} is wider than drawn_strut_width_um = {width:g}",
                "Write the wider face of the trapezoid as drawn_strut_width_um",
            )
        return value


class ImageEntry(ManifestTable):
    """One image: whose it is, what it shows, and how the field and the surface came to be."""

    file: RelativeFile = Field(description="Path relative to study.toml.")
    specimen: Text
    shows: Shows | None = Field(
        None,
        description='"surface" (a picture; also where left out), "heights" (a height map), "strut" (one '
        'strut or a mesh) or "section" (a polished cross-section). A file that holds heights is measured '
        "only where this is stated.",
    )
    procedures: Annotated[tuple[Procedure, ...], BeforeValidator(as_tuple), Field(min_length=1)] = Field(
        PROCEDURES_BY_KIND["surface"],
        description="What is measured; left out, all that goes with what the image shows.",
    )
    pixel_size_um: Annotated[tuple[Positive, Positive] | None, BeforeValidator(_pair)] = Field(
        None, description="[x, y] in µm (one number for both); overrides the file's own scale."
    )
    height_unit: Text | None = Field(
        None,
        description='Unit of the heights in the file ("nm", "µm", "mm", "m"), and in its unexposed height '
        "map; overrides what the files say.",
    )
    condition: Literal["as_received", "with_product", "cleaned", "not_stated"] = "not_stated"
    cleaning: str = Field("", description="How the surface was cleaned.")
    field_choice: Literal["systematic", "random", "worst_seen", "not_stated"] = "not_stated"
    page: Annotated[int, Field(ge=0)] | None = Field(None, description="Page of the file, first page 0.")
    region: RelativeFile | None = Field(
        None, description="Mask of the specimen region, same size as the image."
    )
    datum: RelativeFile | None = Field(
        None,
        description="Mask of surface that never corroded (it was covered), same size as the height map: it "
        "gives the original level.",
    )
    unexposed: RelativeFile | None = Field(
        None,
        description="Height map of the same field before exposure, registered onto the same grid: it gives "
        "the original level everywhere.",
    )
    before: RelativeFile | None = Field(
        None, description="Picture of the same struts or sections before exposure; it is registered."
    )
    side_view: RelativeFile | None = Field(
        None, description="Picture of the same struts seen across: gives their thickness."
    )
    thickness_map: RelativeFile | None = Field(
        None, description="Height map of a strut on a flat stage: gives its thickness."
    )
    twin: RelativeFile | None = Field(
        None, description="Section of an unexposed twin: gives the original area and outline."
    )
    cut_angle_deg: Annotated[float, Field(ge=0, le=75, allow_inf_nan=False)] | None = Field(
        None,
        description="Angle between a section's plane and the plane square to the strut; overrides the "
        "settings.",
    )
    note: str = ""

    @model_validator(mode="before")
    @classmethod
    def _all_that_goes_with_it(cls, given: Any) -> Any:
        if not isinstance(given, Mapping) or "procedures" in given:
            return given
        shows = given.get("shows")
        if not isinstance(shows, str) or shows not in PROCEDURES_BY_KIND:
            return given
        return {**given, "procedures": PROCEDURES_BY_KIND[shows]}

    @field_validator("procedures")
    @classmethod
    def _procedures_go_with_it(
        cls, procedures: tuple[Procedure, ...], info: ValidationInfo
    ) -> tuple[Procedure, ...]:
        if "shows" not in info.data:  # at fault by itself
            return procedures
        shows: Shows = info.data["shows"] or "surface"
        for procedure in procedures:
            if procedure not in PROCEDURES_BY_KIND[shows]:
                raise own_fault(
                    f"{_MEASURED_ON[procedure]}, and this image shows {_SHOWN[shows]}",
                    f"Leave {procedure!r} out of procedures, "
                    + _write_shows(kind for kind, own in PROCEDURES_BY_KIND.items() if procedure in own),
                )
        return procedures

    @field_validator(*_BY_KIND)
    @classmethod
    def _goes_with_what_it_shows(cls, value: str | float | None, info: ValidationInfo) -> Any:
        if value is None or "shows" not in info.data:  # not given, or at fault by itself
            return value
        name = str(info.field_name)
        shows: Shows = info.data["shows"] or "surface"
        if shows not in _BY_KIND[name]:
            raise own_fault(
                f"{name} is for images of {' or '.join(_SHOWN[kind] for kind in _BY_KIND[name])}, and this "
                f"image shows {_SHOWN[shows]}",
                f"Take {name} out, {_write_shows(_BY_KIND[name])}",
            )
        return value

    @field_validator("thickness_map")
    @classmethod
    def _is_the_only_thickness(cls, value: str | None, info: ValidationInfo) -> str | None:
        if value is not None and info.data.get("side_view") is not None:
            raise own_fault(
                "side_view and thickness_map both give the thickness", "Keep the one that shows it better"
            )
        return value

    @field_validator("height_unit")
    @classmethod
    def _is_a_length(cls, value: str | None) -> str | None:
        if value is not None and um_per_unit(value) is None:
            raise own_fault(
                f"height_unit = {value!r} is no unit of length", 'Write one such as "nm", "µm", "mm" or "m"'
            )
        return value

    @property
    def image_id(self) -> str:
        """The file, and ``#page`` where a page is given."""
        return image_id(self.file, self.page)

    @property
    def kind(self) -> Shows:
        """What it shows: "surface" where that is not stated."""
        return self.shows or "surface"

    def companions(self) -> dict[str, str]:
        """Files that belong to it, by role (see `COMPANIONS`); only those that are named."""
        return {role: name for role in COMPANIONS if (name := getattr(self, role)) is not None}


class Review(ManifestTable):
    """Which corrections count."""

    in_force: Text | None = Field(
        None,
        description="Reviewer whose corrections count, and nobody else's; left out, the latest save on an "
        "image counts, whoever made it.",
    )


class Study(ManifestTable):
    """A study as its manifest states it.

    Attributes
    ----------
    folder : Path
        Where the manifest stands; every file is relative to it.
    title, note : str
    settings : StudySettings
    review : Review
    materials, groups, specimens, images, sweeps, weighings, gas, logs, criteria : tuple
        In the order of the manifest.
    """

    folder: Path
    title: str
    note: str = ""
    settings: StudySettings = StudySettings()
    review: Review = Review()
    materials: tuple[Material, ...] = ()
    groups: tuple[Group, ...] = ()
    specimens: tuple[Specimen, ...] = ()
    images: tuple[ImageEntry, ...] = ()
    sweeps: tuple[SweepEntry, ...] = ()
    weighings: tuple[WeighingEntry, ...] = ()
    gas: tuple[GasEntry, ...] = ()
    logs: tuple[LogEntry, ...] = ()
    criteria: tuple[CriterionEntry, ...] = ()

    @property
    def rate_entries(self) -> tuple[RateEntry, ...]:
        """Everything that gives a rate or an exposure, logs first: their hours enter the others."""
        return (*self.logs, *self.sweeps, *self.gas, *self.weighings)

    @property
    def entry_ids(self) -> frozenset[str]:
        """Names in the store of all that the manifest names."""
        return frozenset([i.image_id for i in self.images] + [e.entry_id for e in self.rate_entries])

    def specimens_of(self, log: LogEntry) -> tuple[str, ...]:
        """Specimens of a log: those it names, or all of its group."""
        if log.specimens is not None:
            return log.specimens
        return tuple(s.id for s in self.specimens if s.group == log.group)

    def logs_of(self, specimen_id: str) -> tuple[LogEntry, ...]:
        """Logs of one specimen, in the order of the manifest."""
        return tuple(log for log in self.logs if specimen_id in self.specimens_of(log))

    def material_of(self, specimen_id: str) -> metals.Material | None:
        """Material of a specimen with sources; None where it names none.

        Raises
        ------
        InputError
            If the name is neither stated here nor known.
        """
        name = self.specimen(specimen_id).material
        return None if name is None else find_material(name, [m.stated for m in self.materials])

    def specimen(self, specimen_id: str) -> Specimen:
        """The specimen of that id (KeyError if there is none)."""
        return _named(specimen_id, {s.id: s for s in self.specimens})

    def group(self, name: str) -> Group:
        """The group of that name (KeyError if there is none)."""
        return _named(name, {g.name: g for g in self.groups})

    def images_of(self, specimen_id: str) -> tuple[ImageEntry, ...]:
        """Images of one specimen, in the order of the manifest."""
        return tuple(image for image in self.images if image.specimen == specimen_id)


def _named(name: str, known: Mapping[str, Any]) -> Any:
    return known[name]


def image_id(file: str, page: object) -> str:
    """Name of an image in study and store: its file, and ``#page`` where a page is given."""
    name = str(posix(file))
    return name if page is None else f"{name}#{page}"
