"""Settings of every procedure: few, physical, documented; written once, used by file, command and viewer."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class ProcedureSettings(BaseModel):
    """Base of all settings: unknown keys are refused, and what was checked stays as it is."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class FieldSettings(ProcedureSettings):
    """Which part of the image is the specimen."""

    specimen_region: Literal["auto", "everything"] = Field(
        "auto",
        description="'everything' takes the whole picture; 'auto' leaves out a background that runs along "
        "the picture's edges where one stands clearly apart from the metal.",
    )
    data_strip: Literal["auto", "keep"] = Field(
        "auto",
        description="'auto' leaves a data strip along an edge, and a scale bar drawn on the picture with its "
        "label, out of the field; 'keep' measures them.",
    )


class PitSettings(FieldSettings):
    """Dark pits on a micrograph."""

    min_contrast: float = Field(
        0.08,
        ge=0.01,
        le=0.95,
        description="Smallest contrast of a pit: 1 minus floor grey over surrounding metal grey.",
    )
    min_contrast_to_noise: float = Field(
        4.0,
        ge=1.0,
        le=100.0,
        description="Smallest contrast in units of the local spread of the metal at the working resolution.",
    )
    min_diameter_um: float | None = Field(
        None,
        gt=0,
        description="Smallest equivalent diameter counted, µm; never below min_diameter_px pixels. "
        "Unset: min_diameter_px alone decides.",
    )
    min_diameter_px: float = Field(
        4.0,
        ge=2.0,
        description="Smallest equivalent diameter that the pixels can honestly carry, px.",
    )
    max_aspect: float = Field(
        4.0,
        ge=1.5,
        description="Length over width above which a feature is crack-like and listed for review.",
    )


class DegradedSettings(FieldSettings):
    """Area that is corroded or covered by product."""

    classes: Literal[2, 3] = Field(
        2, description="Classes told apart: 2 (metal, degraded) or 3 (metal, tarnished, degraded)."
    )
    degraded_is: Literal["auto", "darker", "lighter"] = Field(
        "auto",
        description="Degraded surface against metal. 'auto': darker, or the more coloured class where colour "
        "tells more than grey, unless that class covers more than about 63 % (by colour 85 %) of the region.",
    )
    boundary: float | None = Field(
        None,
        ge=0.2,
        le=0.8,
        description="Where the class boundary lies on the step from metal (0) to degraded surface (1). 0.5 "
        "is half contrast. Unset: where fewest pixels lie, from 0.4 to 0.75, so that the fraction depends on "
        "it least; that leaves out a faint halo around patches, as people do by hand.",
    )
    min_contrast: float = Field(
        0.07,
        ge=0.02,
        le=0.9,
        description="Smallest step between metal and degraded surface, as a share of the metal's grey.",
    )
    min_separation: float = Field(
        2.5,
        ge=1.0,
        le=20.0,
        description="Smallest distance between two class levels in units of their spread (Ashman's D); below "
        "it the surface is one class and nothing is reported as degraded.",
    )
    min_patch_um2: float | None = Field(
        None,
        gt=0,
        description="Smallest patch, and smallest hole in a patch, kept, µm²; never below min_patch_px. "
        "Unset: min_patch_px alone decides.",
    )
    min_patch_px: int = Field(25, ge=1, description="Smallest patch, and smallest hole in a patch, kept, px.")


class ScaleSettings(ProcedureSettings):
    """Pixel size from a scale bar or a stage micrometer."""

    accepted_from: float = Field(
        0.75,
        ge=0.6,
        le=1.0,
        description="Smallest confidence of a scale bar's reading that is taken without a person having "
        "looked.",
    )
    certificate_relative_uncertainty: float | None = Field(
        None,
        gt=0,
        lt=1,
        description="Relative standard uncertainty (k = 1) of the instrument's scale or of the stage "
        "micrometer from its certificate. Unset: a declared allowance of 1 %.",
    )


class HeightSettings(ProcedureSettings):
    """How a height map is made ready: form taken off, spikes taken out."""

    form: Literal["auto", "none", "plane", "polynomial2", "cylinder"] = Field(
        "auto",
        description="Form that is removed (F-operator), fitted so that pits do not pull it: 'plane', "
        "'polynomial2' (second order), 'cylinder' (tops of round struts). 'auto' takes the simplest that "
        "leaves no bend behind, and none where the surface is level; 'none' leaves the heights as they are "
        "but for their median level.",
    )
    spikes: Literal["auto", "keep"] = Field(
        "auto",
        description="'auto' sets single values and small clusters that stand out of their neighbourhood like "
        "no surface does to not measured; 'keep' leaves them.",
    )


class HeightPitSettings(HeightSettings):
    """Deep pits on a height map."""

    min_depth_to_roughness: float = Field(
        4.0,
        ge=2.0,
        le=100.0,
        description="Smallest depth of a pit below the local reference surface, in units of the root mean "
        "square roughness Sq of the surface around it.",
    )
    min_depth_um: float | None = Field(
        None, gt=0, description="Smallest depth counted, µm. Unset: min_depth_to_roughness alone decides."
    )
    min_diameter_um: float | None = Field(
        None,
        gt=0,
        description="Smallest equivalent diameter counted, µm; never below min_diameter_px pixels. "
        "Unset: min_diameter_px alone decides.",
    )
    min_diameter_px: float = Field(
        3.0,
        ge=2.0,
        description="Smallest equivalent diameter that the pixels can honestly carry, px.",
    )
    max_aspect: float = Field(
        4.0,
        ge=1.5,
        description="Length over width above which a feature is groove-like and listed for review.",
    )
    objective_aperture: float | None = Field(
        None,
        gt=0,
        lt=1,
        description="Numerical aperture of the (dry) objective. Where given, each pit's steepest wall is "
        "held against the slope that it admits.",
    )


class TextureSettings(HeightSettings):
    """Areal texture of a height map after ISO 25178-2."""

    s_cutoff_um: float | None = Field(
        None, gt=0, description="Nesting index of the S-filter, µm: smaller scales are removed. Unset: none."
    )
    l_cutoff_um: float | None = Field(
        None,
        gt=0,
        description="Nesting index of the L-filter, µm: larger scales are removed, which gives the S-L "
        "surface. Unset: the S-F surface is measured.",
    )
    l_filter: Literal["gaussian", "robust"] = Field(
        "gaussian",
        description="L-filter: 'gaussian' (ISO 16610-61), or 'robust' (ISO 16610-71), which pits do not "
        "pull.",
    )


class SectionSettings(ProcedureSettings):
    """Remaining metal of polished cross-sections."""

    grey_order: Literal[
        "auto",
        "metal_product_medium",
        "metal_medium_product",
        "product_metal_medium",
        "product_medium_metal",
        "medium_metal_product",
        "medium_product_metal",
        "metal_medium",
        "medium_metal",
    ] = Field(
        "auto",
        description="Classes from light to dark. 'auto': the mounting medium runs along the frame, the metal "
        "lies deepest. With 'metal_medium' or 'medium_metal' everything but the medium is metal.",
    )
    data_strip: Literal["auto", "keep"] = Field(
        "auto",
        description="'auto' leaves a data strip along an edge, and a scale bar drawn on the picture with its "
        "label, out of the field; 'keep' measures them.",
    )
    drawn_shape: Literal["rectangle", "ellipse", "trapezoid"] = Field(
        "rectangle", description="Shape of the section as drawn; a round wire is an ellipse."
    )
    drawn_width_um: float | None = Field(None, gt=0, description="Drawn width of the section, µm.")
    drawn_thickness_um: float | None = Field(
        None,
        gt=0,
        description="Drawn thickness of the section, µm; of a round wire the diameter. Unset: as the width.",
    )
    drawn_top_width_um: float | None = Field(
        None, gt=0, description="Trapezoid: width of the side opposite to drawn_width_um, µm."
    )
    drawn_relative_uncertainty: float = Field(
        0.01,
        ge=0,
        le=0.2,
        description="Relative standard uncertainty (k = 1) of a drawn size: how far parts differ from the "
        "drawing.",
    )
    original_area_um2: float | None = Field(
        None,
        gt=0,
        description="Original area of a section, µm², where it is known by other means than a drawing. It "
        "comes before a drawn size, which then gives the outline alone.",
    )
    original_area_relative_uncertainty: float = Field(
        0.01, ge=0, le=0.5, description="Relative standard uncertainty (k = 1) of original_area_um2."
    )
    twin_relative_uncertainty: float = Field(
        0.01,
        ge=0,
        le=0.5,
        description="Relative standard uncertainty (k = 1) of an area taken from an unexposed twin: how far "
        "the sections of a lot differ.",
    )
    before_position: Literal["auto", "as_it_lies"] = Field(
        "auto",
        description="'auto' registers the picture before exposure where its sections do not lie right as "
        "they are; 'as_it_lies' takes both pictures for registered, and states no uncertainty of that.",
    )
    before_max_rotation_deg: float = Field(
        45.0,
        gt=0,
        le=180,
        description="Furthest turn between the picture before and this one, degrees either way.",
    )
    before_max_shift_fraction: float = Field(
        0.3,
        gt=0,
        le=1,
        description="Furthest shift between the picture before and this one, as a share of the longer side.",
    )
    cut_angle_deg: float | None = Field(
        None,
        ge=0,
        le=75,
        description="Angle between the plane of the section and the plane square to the strut, degrees: the "
        "section is stretched by 1 / cos of it.",
    )
    cut_stretches: Literal["thickness", "width"] = Field(
        "thickness", description="Which drawn size an oblique cut stretches."
    )
    max_cut_fraction: float = Field(
        0.05,
        ge=0,
        le=0.5,
        description="Largest share of a section's outline that may lie on the frame; beyond it no area or "
        "loss is given.",
    )
    min_feature_px: int = Field(
        12, ge=1, description="Pieces of metal, and holes in it, smaller than this are taken for noise, px."
    )
    min_profile_px: int = Field(
        400, ge=50, description="Smallest metal area of a section, px; with less the edge decides everything."
    )
    outline_pitch_px: float = Field(
        2.0, gt=0.2, le=50, description="Distance between stations along outlines and foils, px."
    )


class StrutSettings(ProcedureSettings):
    """Widths and remaining cross-section along struts."""

    model_config = ConfigDict(allow_inf_nan=False)

    data_strip: Literal["auto", "keep"] = Field(
        "auto",
        description="'auto' leaves a data strip along an edge, and a scale bar drawn on the picture with its "
        "label, out of the field; 'keep' measures them.",
    )
    polarity: Literal["auto", "dark", "light"] = Field(
        "auto",
        description="Struts against their background: 'dark' (backlit), 'light' (reflected). 'auto' takes "
        "for struts what is thinner and rarer along the picture's edges.",
    )
    holes: Literal["auto", "through", "filled"] = Field(
        "auto",
        description="Open spots inside a strut: 'through' takes all for holes through the metal, 'filled' "
        "all for glints or stains on it; 'auto' takes those for holes that have the background's grey.",
    )
    pitch_px: float = Field(2.0, gt=0, le=3.0, description="Greatest distance between stations, px.")
    edge_uncertainty_um: float = Field(
        0.0,
        ge=0,
        description="Standard uncertainty, µm (k = 1), by which every edge may lie too far out or in for "
        "reasons the picture does not show: blooming, lamp, charging. A width has twice that.",
    )
    free_ends: Literal["auto", "broken", "drawn"] = Field(
        "auto",
        description="A strut's end inside the field that faces no other metal: 'broken', or 'drawn' that "
        "way. 'auto': broken in a mesh, drawn where the part has no junctions.",
    )
    drawn_shape: Literal["rectangle", "ellipse", "trapezoid"] = Field(
        "rectangle", description="Shape of the strut's section as drawn; a round wire is an ellipse."
    )
    drawn_width_um: float | None = Field(
        None,
        gt=0,
        description="Drawn width of the strut, µm; of a trapezoid the wider face, which a silhouette shows. "
        "Unset: loss is known against a picture before only.",
    )
    drawn_thickness_um: float | None = Field(
        None,
        gt=0,
        description="Drawn thickness, µm. The section from it is an upper bound; the estimate with equal "
        "loss all round stands beside it.",
    )
    drawn_top_width_um: float | None = Field(
        None, gt=0, description="Trapezoid: width of the narrower face, µm."
    )
    drawn_relative_uncertainty: float = Field(
        0.01,
        ge=0,
        le=0.2,
        description="Relative standard uncertainty (k = 1) of a drawn size: how far parts differ from the "
        "drawing.",
    )
    thickness_um: float | None = Field(
        None,
        gt=0,
        description="Thickness measured after exposure, µm (height map, side view); the section is then no "
        "upper bound.",
    )
    thickness_uncertainty_um: float = Field(
        0.0, ge=0, description="Standard uncertainty of the measured thickness, µm (k = 1)."
    )
    before_max_rotation_deg: float = Field(
        180.0,
        gt=0,
        le=180,
        description="Furthest turn of the part between the picture before and this one, degrees either way. "
        "A regular mesh needs a limit below its own symmetry.",
    )
    before_max_shift_fraction: float = Field(
        0.3,
        gt=0,
        le=1,
        description="Furthest shift between the picture before and this one, as a share of the longer side. "
        "A regular mesh needs a limit below half its pitch.",
    )


PROCEDURE_SETTINGS: dict[str, type[BaseModel]] = {
    "pits": PitSettings,
    "degraded": DegradedSettings,
    "height_pits": HeightPitSettings,
    "texture": TextureSettings,
    "scale": ScaleSettings,
    "section": SectionSettings,
    "struts": StrutSettings,
}
"""Table of settings, as files name it -> its class."""
