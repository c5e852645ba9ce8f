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

    def of(scale_before=SCALE, scale_after=SCALE, after_solid=None, earlier=before):
        solid = solid_of(before)
        everywhere = np.ones(solid.shape, bool)
        return compare(
            solid,
            earlier,
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


@pytest.fixture
def strip(stations):
    """A straight strut from edge to edge, 40 px before and 34 px after with a notch to the right."""
    narrow = np.full(200, 34.0)
    narrow[150:160] = 20
    before, after = stations(np.full(200, 40.0)), stations(narrow)
    solid = np.zeros((200, 500), bool)
    solid[80:120] = True
    solid_after = np.zeros_like(solid)
    solid_after[83:117] = True
    everywhere = np.ones(solid.shape, bool)
    return compare(
        solid,
        before,
        SCALE,
        solid_after,
        after,
        SCALE,
        max_rotation_deg=20,
        max_shift_fraction=0.3,
        before_field=everywhere,
        after_field=everywhere,
        frame=(0, 200, 0, 500),
        path="before.png",
    )


def test_a_straight_strut_is_compared_by_its_means(strip):
    """It may lie anywhere along itself: no width before of any place, nor of lost metal; stretches differ."""
    found, warnings = strip
    assert "may lie anywhere along itself on before.png (0 degrees" in warnings[0]
    assert "before_max" not in warnings[0]
    assert not np.isfinite(found.width_before).any()
    assert found.loss.struts_before == 0
    assert found.match.width_before == pytest.approx(40)
    assert found.match.width_after.mean() == pytest.approx(34 - 14 * 10 / 200)
    assert found.stretches_apart[0] > 0.5


def test_parallel_struts_fit_anywhere_along_themselves(stations):
    """Limits of the search cannot help, and are not offered."""
    both = stations(*[np.full(200, 40.0)] * 3)
    solid = np.zeros((400, 500), bool)
    for row in (100, 200, 300):
        solid[row - 20 : row + 20] = True
    everywhere = np.ones(solid.shape, bool)
    limits = {"max_rotation_deg": 20, "max_shift_fraction": 0.3, "frame": (0, 400, 0, 500)}
    fields = {"before_field": everywhere, "after_field": everywhere}
    found, warnings = compare(solid, both, SCALE, solid, both, SCALE, path="before.png", **limits, **fields)
    assert found is None
    assert "all struts run one way (0 degrees" in warnings[0]
    assert "before_max" not in warnings[0]


def test_little_in_common_is_said(compared, stations):
    """Before, one strut of three counts; all of them in the tests above, where nothing is said."""
    counting = [""] * 150 + ["frame"] * 160
    only = stations(np.full(150, 40.0), np.full(100, 24.0), np.full(60, 30.0), faults=counting)
    found, warnings = compared(earlier=only)
    assert found.places.tolist()[1:] == [0, 0]
    assert any("Only 48 % of the length that counts" in text for text in warnings)
