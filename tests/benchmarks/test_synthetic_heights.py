"""The made height maps are what their truth says."""

import numpy as np
import pytest
import synthetic_heights as made_by
from scoring import score

from surfscan.images import Calibration, HeightMap, Source
from surfscan.procedures import measure_pits


def _one(shape, **changes):
    options = {
        "n_pits": 1,
        "radius_um": (20.0, 20.001),
        "depth_to_radius": (0.5, 0.5),
        "shapes": (shape,),
        "longest": 1.0,
        "sq_um": 1e-6,
        "tilt_deg": (0.0, 0.0),
        "gaps": 0.0,
        "spikes": 0,
    }
    for seed in range(50):
        made = made_by.make_heights(seed, (256, 256), **(options | changes))
        if not (
            made.labels[0].any()
            or made.labels[-1].any()
            or made.labels[:, 0].any()
            or made.labels[:, -1].any()
        ):
            return made
    raise AssertionError("no seed puts the pit inside the picture")


@pytest.mark.parametrize(
    ("shape", "share"),
    [
        ("cone", 1 / 3),
        ("paraboloid", 1 / 2),
        ("ellipsoid", 2 / 3),
        ("cap", (3 + 0.25) / 6),
        ("flat", (1 + 0.85 + 0.85**2) / 3),
    ],
)
def test_volumes_are_those_of_the_solids(shape, share):
    """Shares of the enclosing cylinder: closed forms; the flat-bottomed one is a cone's frustum."""
    made = _one(shape)
    assert made.volume_um3 == pytest.approx([np.pi * 400 * 10 * share], rel=5e-3)
    assert made.depth_um == pytest.approx([10.0], rel=0.01)
    assert -made.heights_um.min() == pytest.approx(10.0, rel=0.02)
    assert np.count_nonzero(made.labels) * 0.25 == pytest.approx(np.pi * 400, rel=0.01)


def test_same_seed_same_map_another_seed_another():
    one, again, other = (made_by.make_family("rough", s, (256, 256)) for s in (3, 3, 4))
    assert np.array_equal(one.heights_um, again.heights_um, equal_nan=True)
    assert not np.array_equal(one.heights_um, other.heights_um, equal_nan=True)


@pytest.mark.parametrize("family", made_by.FAMILIES)
def test_families_keep_their_promises(family):
    made = made_by.make_family(family, 5, (512, 512))
    n = len(made.depth_um)
    assert sorted(np.unique(made.labels)) == list(range(n + 1))
    lost = 0.08 if family == "lost" else 0.03
    assert 0.01 < np.isnan(made.heights_um).mean() < lost
    inner = [k for k in range(n) if made.volume_um3[k] > 0.9 * made.radius_um[k] ** 2 * made.depth_um[k]]
    for k in inner:
        assert made.depth_um[k] >= 4.5 * made.roughness_um
        assert made.depth_um[k] <= 0.91 * made.radius_um[k]


def test_lost_floors_are_hidden():
    made = made_by.make_heights(1, (512, 512), n_pits=20, lost_floors=1.0)
    assert made.floor_hidden.mean() > 0.8


def test_roughness_is_as_asked():
    made = made_by.make_heights(1, n_pits=0, tilt_deg=(0, 0), spikes=0, sq_um=0.3, correlation_um=(2.0,))
    assert np.nanstd(made.heights_um) == pytest.approx(0.3, rel=0.03)


def test_impossible_pits_are_refused():
    with pytest.raises(ValueError, match="deep"):
        made_by.make_heights(1, (64, 64), sq_um=10.0)


def test_measured_pits_are_those_made():
    """One map end to end; the benchmark runs many."""
    made = made_by.make_family("dense", 11, (512, 512))
    image = HeightMap(made.heights_um, Calibration(*made.pixel_size_um, 0.01, "made so"), Source("synthetic"))
    assert score(measure_pits(image).masks["pits"], made.labels).f1 > 0.95
