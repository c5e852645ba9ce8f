"""Settings of every procedure: few, physical, documented; written once, used by file, command and viewer."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class _Settings(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class FieldSettings(_Settings):
    """Which part of the image is the specimen."""

    specimen_region: Literal["auto", "everything"] = Field(
        "auto",
        description="'everything' takes the whole picture; 'auto' leaves out a background that runs along "
        "the picture's edges where one stands clearly apart from the metal.",
    )
    data_strip: Literal["auto", "keep"] = Field(
        "auto", description="'auto' leaves a data strip along an edge out of the field; 'keep' measures it."
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
        2, description="Grey classes told apart: 2 (metal, degraded) or 3 (metal, tarnished, degraded)."
    )
