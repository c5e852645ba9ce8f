"""What a study's manifest holds: settings, materials, groups, specimens, images, each checked by itself."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from surfscan.calibration.units import um_per_unit
from surfscan.procedures.settings import DegradedSettings, HeightPitSettings, PitSettings, TextureSettings
from surfscan.study.faults import OWN_FAULT

Procedure = Literal["pits", "degraded", "texture"]
Shows = Literal["surface", "heights"]
Settings = PitSettings | DegradedSettings | HeightPitSettings | TextureSettings
Text = Annotated[str, Field(min_length=1)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]

PROCEDURES_BY_KIND: dict[Shows, tuple[Procedure, ...]] = {
    "surface": ("pits", "degraded"),
    "heights": ("pits", "texture"),
}
"""What an image shows -> the procedures that can be run on it, all of them where it names none."""

COMPANIONS = {"region": "region mask", "datum": "datum mask", "unexposed": "unexposed height map"}
"""Files that may belong to an image, by role -> what they are called."""

ORIGINAL_LEVEL = ("datum", "unexposed")
"""Those of them that give the original level of the surface; only pits are measured against it."""

_HEIGHTS_ONLY = ("height_unit", *ORIGINAL_LEVEL)


def _pair(value: object) -> object:
    """One pixel size for both directions, or [x, y]."""
    if isinstance(value, (list, tuple)):
        return tuple(value)
    return value if isinstance(value, str) or value is None else (value, value)


def _posix(value: object) -> object:
    return PurePosixPath(value.replace("\\", "/")).as_posix() if isinstance(value, str) and value else value


def _tuple(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


def _fault(what: str, remedy: str) -> PydanticCustomError:
    return PydanticCustomError(OWN_FAULT, "{what}. {remedy}", {"what": what, "remedy": remedy})


RelativeFile = Annotated[str, BeforeValidator(_posix), Field(min_length=1)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class StudySettings(_Table):
    """Settings of the procedures, one table each."""

    pits: PitSettings = Field(PitSettings(), description="Settings of the pits procedure on pictures.")
    degraded: DegradedSettings = Field(
        DegradedSettings(), description="Settings of the degraded-area procedure."
    )
    height_pits: HeightPitSettings = Field(
        HeightPitSettings(), description="Settings of the pits procedure on height maps."
    )
    texture: TextureSettings = Field(TextureSettings(), description="Settings of the texture procedure.")

    def of(self, procedure: str, shows: Shows | None = None) -> Settings:
        """Settings of the named procedure on an image of that kind (None: a picture)."""
        table = "height_pits" if (procedure, shows) == ("pits", "heights") else procedure
        found: Settings = getattr(self, table)
        return found


class Material(_Table):
    """A material of the study; its density is a figure with a source."""

    name: Text
    density_g_per_cm3: Positive | None = None
    source: str = Field("", description="Where the density comes from.")


class Group(_Table):
    """Specimens of one kind and treatment."""

    name: Text
    baseline: Text | None = Field(
        None, description="Control group (as received) whose mean is subtracted from this one's."
    )


class Specimen(_Table):
    """One exposed part: the replicate of every statistic."""

    id: Text
    group: Text
    exposure_h: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None = Field(
        None, description="Hours of exposure; 0 as received; left out where not known."
    )
    material: Text | None = None
    surface_area_mm2: Positive | None = None
    drawn_strut_width_um: Positive | None = None
    drawn_thickness_um: Positive | None = None
    note: str = ""


class ImageEntry(_Table):
    """One image: whose it is, what it shows, and how the field and the surface came to be."""

    file: RelativeFile = Field(description="Path relative to study.toml.")
    specimen: Text
    shows: Shows | None = Field(
        None,
        description='"surface" (a picture; also where left out) or "heights" (a height map). A file that '
        "holds heights is measured only where this is stated.",
    )
    procedures: Annotated[tuple[Procedure, ...], BeforeValidator(_tuple), Field(min_length=1)] = Field(
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
    note: str = ""

    @model_validator(mode="before")
    @classmethod
    def _all_that_goes_with_it(cls, given: Any) -> Any:
        if not isinstance(given, Mapping) or "procedures" in given or given.get("shows") != "heights":
            return given
        return {**given, "procedures": PROCEDURES_BY_KIND["heights"]}

    @field_validator("procedures")
    @classmethod
    def _procedures_go_with_it(
        cls, procedures: tuple[Procedure, ...], info: ValidationInfo
    ) -> tuple[Procedure, ...]:
        shows = info.data.get("shows", "unreadable")
        if shows == "heights" and "degraded" in procedures:
            raise _fault(
                "degraded area is told by brightness, and this image shows heights",
                "Leave 'degraded' out of procedures; if the file holds a picture after all, write "
                'shows = "surface"',
            )
        if shows in (None, "surface") and "texture" in procedures:
            raise _fault(
                "texture is measured on heights, and this image shows none",
                "Leave 'texture' out of procedures; if the file holds a height map, write "
                'shows = "heights"',
            )
        return procedures

    @field_validator(*_HEIGHTS_ONLY)
    @classmethod
    def _goes_with_heights(cls, value: str | None, info: ValidationInfo) -> str | None:
        name = str(info.field_name)
        if value is not None and info.data.get("shows", "unreadable") in (None, "surface"):
            raise _fault(
                f"{name} is for height maps, and this image shows no heights",
                f'Take {name} out; if the file holds a height map, write shows = "heights"',
            )
        return value

    @field_validator("height_unit")
    @classmethod
    def _is_a_length(cls, value: str | None) -> str | None:
        if value is not None and um_per_unit(value) is None:
            raise _fault(
                f"height_unit = {value!r} is no unit of length", 'Write one such as "nm", "µm", "mm" or "m"'
            )
        return value

    @property
    def image_id(self) -> str:
        """The file, and ``#page`` where a page is given."""
        return image_id(self.file, self.page)

    def companions(self) -> dict[str, str]:
        """Files that belong to it, by role ("region", "datum", "unexposed"); only those that are named."""
        return {role: name for role in COMPANIONS if (name := getattr(self, role)) is not None}


class Study(_Table):
    """A study as its manifest states it.

    Attributes
    ----------
    folder : Path
        Where the manifest stands; every file is relative to it.
    title, note : str
    settings : StudySettings
    materials, groups, specimens, images : tuple
        In the order of the manifest.
    """

    folder: Path
    title: str
    note: str = ""
    settings: StudySettings = StudySettings()
    materials: tuple[Material, ...] = ()
    groups: tuple[Group, ...] = ()
    specimens: tuple[Specimen, ...] = ()
    images: tuple[ImageEntry, ...] = ()

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
    name = str(_posix(file))
    return name if page is None else f"{name}#{page}"
