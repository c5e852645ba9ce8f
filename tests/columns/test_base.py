"""A figure with an interval becomes three columns."""

from surfscan.columns import with_ci95


def test_an_interval_adds_its_two_limits_in_the_same_unit():
    figure = with_ci95("depth_um", "µm", "Depth.")
    assert [c.name for c in figure] == ["depth_um", "depth_um_ci95_low", "depth_um_ci95_high"]
    assert {c.unit for c in figure} == {"µm"}
    assert {c.dtype for c in figure} == {"float64"}
