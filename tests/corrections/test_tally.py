"""The tally of a field is what its summary says."""

import numpy as np
import pytest

from surfscan.corrections.tally import tally_of_pits, tally_of_summary


def test_of_summary_and_of_pits_agree(pitted_field):
    image, automatic = pitted_field
    first = tally_of_summary(automatic.summary)
    again = tally_of_pits(
        automatic.tables["pits"],
        area_px=automatic.summary["field_area_px"],
        scale=image.calibration,
        heights=image.shape if "max_depth_um" in automatic.summary else None,
        rejected_count=2,
        unsure_count=1,
        automatic=first,
    )
    for name in ("pit_count", "density_per_mm2", "density_per_mpx", "area_fraction", "deepest_um"):
        assert getattr(again, name) == getattr(first, name), name
    for name in ("density_per_mm2_ci95", "density_per_mpx_ci95", "area_fraction_ci95"):
        assert getattr(again, name) == getattr(first, name), name
    assert again.deepest_is_lower_bound == first.deepest_is_lower_bound
    assert (again.rejected_count, again.unsure_count, again.automatic) == (2, 1, first)
    assert first.automatic is None
    has_scale = image.calibration is not None
    assert (first.density_per_mpx is None) == has_scale and (first.density_per_mm2 is not None) == has_scale


def test_a_floor_that_was_not_seen_is_a_bound(rough_plate):
    image, automatic = rough_plate
    pits = automatic.tables["pits"]
    assert pits["depth_is_lower_bound"].any()
    tally = tally_of_summary(automatic.summary)
    assert tally.deepest_is_lower_bound and tally.deepest_um == pytest.approx(np.nanmax(pits["depth_um"]))
    seen = ~pits["depth_is_lower_bound"]
    without = tally_of_pits(
        {name: values[seen] for name, values in pits.items()},
        area_px=100,
        scale=image.calibration,
        heights=image.shape,
        rejected_count=0,
        unsure_count=0,
        automatic=tally,
    )
    assert not without.deepest_is_lower_bound
