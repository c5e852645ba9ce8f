"""Columns of pits and of features for review: lateral lengths in px too, depths from height maps alone."""

import pytest

from surfscan.columns import columns


@pytest.mark.parametrize("table", ["pits", "for_review"])
def test_every_lateral_length_has_a_pixel_twin(table):
    names = {c.name for c in columns(table)}
    lateral = {c.name for c in columns(table) if c.name.endswith("_um") and not c.only_on}
    assert {n.removesuffix("_um") + "_px" for n in lateral} <= names


@pytest.mark.parametrize("table", ["pits", "for_review"])
def test_depth_is_measured_on_height_maps_alone_and_contrast_on_pictures_alone(table):
    kind = {c.name: c.only_on for c in columns(table)}
    assert kind["depth_um"] == kind["measured_fraction"] == "heightmap"
    assert kind["contrast"] == "micrograph"
    assert kind["area_um2"] == kind["label"] == ""
