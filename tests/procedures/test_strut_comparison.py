"""Silhouettes laid over each other, stations compared."""

import numpy as np
import pytest

from surfscan.images import Calibration
from surfscan.procedures.strut_comparison import compare

SCALE = Calibration(0.5, 0.5, 0.004, "stated")


@pytest.fixture
def compared(stations, solid_of):
    """Three struts of different length and width, clear of each other; after, 4 px thinner."""
    lengths, widths = (150, 100, 60), (40.0, 24.0, 30.0)
    before, after = (
        stations(*[np.full(n, w - loss) for n, w in zip(lengths, widths, strict=True)]) for loss in (0, 4)
    )

    def of(scale_before=SCALE, scale_after=SCALE, after_solid=None):
        solid = solid_of(before)
        everywhere = np.ones(solid.shape, bool)
        return compare(
            solid,
            before,
            scale_before,
            solid_of(after) if after_solid is None else after_solid,
            after,
            scale_after,
            max_rotation_deg=20,
            max_shift_fraction=0.1,
            before_field=everywhere,
            after_field=everywhere,
            frame=(0, solid.shape[0], 0, solid.shape[1]),
            path="before.png",
        )

    return of


def test_widths_before_at_stations_after(compared):
    """Every station after has the width before of its place; the scale cancels where it is one."""
    found, warnings = compared()
    assert warnings == []
    assert found.scale_uncertainty == 0
    known = np.isfinite(found.width_before)
    assert known.mean() > 0.95
    assert found.width_before[:150][known[:150]] == pytest.approx(40)
    assert found.lengths_before == pytest.approx([300, 200, 120])
    assert found.loss.loss_of_survivors == pytest.approx(
        1 - (36 * 150 + 20 * 100 + 26 * 60) / 10200, abs=0.01
    )
    assert (found.width_before_uncertainty > 0).all()


def test_two_scales_do_not_cancel(compared):
    """Scales of different origin both count; the pixel sizes say how large the part is."""
    found, _ = compared(scale_after=Calibration(0.5, 0.5, 0.003, "scale bar"))
    assert found.scale_uncertainty == pytest.approx(0.005)


def test_other_part(compared):
    """Nothing is compared, and why is said."""
    rng = np.random.default_rng(0)
    other = np.kron(rng.random((10, 8)) > 0.5, np.ones((50, 50))) > 0
    found, warnings = compared(after_solid=other)
    assert found is None
    assert warnings[0].startswith("Nothing is compared with before.png")


def test_blank_silhouette(compared):
    """A silhouette of one value cannot be laid over anything."""
    found, warnings = compared(after_solid=np.ones((500, 400), bool))
    assert found is None
    assert "single value" in warnings[0]
