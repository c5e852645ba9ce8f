"""Deep pits on made surfaces: found, told from roughness, gaps and grooves handled."""

import cv2
import numpy as np
import pytest

from surfscan.segmentation.deep_pits import CHANCE, GROOVE_LIKE, JUST_BELOW, UNMEASURED, find_deep_pits

LIMITS = {"min_depth_to_roughness": 4.0, "min_depth_um": None, "min_diameter_px": 3.0, "max_aspect": 4.0}
SQ = 0.1


def _rough(seed=0, shape=(300, 320), length=4.0, sq=SQ):
    z = np.random.default_rng(seed).standard_normal(shape).astype(np.float32)
    z = cv2.GaussianBlur(z, (0, 0), length / 2)
    return sq * z / z.std()


def _dig(z, row, col, radius, depth):
    """A paraboloid; returns where it is."""
    y, x = np.mgrid[0 : z.shape[0], 0 : z.shape[1]]
    rho = np.hypot(y - row, x - col) / radius
    z -= np.where(rho < 1, depth * (1 - rho**2), 0).astype(np.float32)
    return rho < 1


def _find(z, **changes):
    return find_deep_pits(z, pixel_size_um=(0.5, 0.5), **{**LIMITS, **changes})


def _overlap(a, b):
    return np.count_nonzero(a & b) / np.count_nonzero(a | b)


def test_pits_are_found_where_they_are():
    z = _rough()
    pits = [
        _dig(z, 60, 70, 20, 5),
        _dig(z, 150, 200, 8, 1.5),
        _dig(z, 240, 100, 30, 9),
        _dig(z, 290, 300, 25, 6),
    ]
    found = _find(z)
    assert found.labels.max() == 4
    for pit in pits:
        label = np.bincount(found.labels[pit]).argmax()
        assert label > 0
        assert _overlap(found.labels == label, pit) > 0.8
    assert found.roughness_um == pytest.approx(np.full(4, SQ), rel=0.2)
    assert found.surface_sq_um == pytest.approx(SQ, rel=0.1)
    assert (found.prominence_um > 1).all()
    assert ((found.level_uncertainty_um > 0) & (found.level_uncertainty_um < SQ)).all()
    assert found.labels.dtype == found.review.dtype == np.int32
    assert found.depth_below_reference_um.dtype == np.float32


def test_touching_pits_are_parted():
    z = _rough()
    y, x = np.mgrid[0 : z.shape[0], 0 : z.shape[1]]
    one, two = (np.maximum(1 - (np.hypot(y - 150, x - c) / 25) ** 2, 0) for c in (120, 161))
    z -= np.maximum(6 * one, 5 * two).astype(np.float32)
    found = _find(z)
    assert found.labels.max() == 2
    assert found.labels[150, 120] != found.labels[150, 161]


@pytest.mark.parametrize("length", [0.1, 2.0, 6.0, 20.0])
@pytest.mark.parametrize("sign", [0, 1, -1])
def test_no_pits_on_rough_surfaces_without(length, sign):
    """Normal surfaces, and skewed ones either way (log-normal, g = 0.2)."""
    wrong = 0
    for seed in range(3):
        z = _rough(seed, (512, 512), max(length, 0.2)) / SQ
        z = z if sign == 0 else np.expm1(0.2 * sign * z) / (0.2 * sign)
        z = (SQ * z).astype(np.float32)
        z[np.random.default_rng(seed).random(z.shape) < 0.02] = np.nan
        wrong += int(_find(z).labels.max())
    assert wrong <= (3 if sign == -1 else 1)


def test_chance_dips_go_to_review_at_most():
    z = _rough(4, (700, 700), 5.0)
    depth = -z / SQ
    assert (depth > 4).sum() > 0  # dips deeper than the limit there are
    found = _find(z)
    assert found.labels.max() == 0
    assert set(found.review_reason) <= {CHANCE}


def test_long_waves_are_no_pits_but_part_of_the_surface():
    z = _rough()
    y, x = np.mgrid[0 : z.shape[0], 0 : z.shape[1]]
    z += (0.5 * np.sin(x / 90) * np.sin(y / 80)).astype(np.float32)
    pit = _dig(z, 150, 160, 15, 4)
    found = _find(z)
    assert found.labels.max() == 1
    assert _overlap(found.labels == 1, pit) > 0.75


def test_a_gap_in_the_floor_belongs_to_the_pit_and_a_gap_in_the_metal_does_not():
    z = _rough()
    pit = _dig(z, 100, 100, 22, 6)
    z[92:109, 92:109] = np.nan
    z[200:230, 200:230] = np.nan
    found = _find(z)
    assert found.labels.max() == 1
    assert (found.labels[92:109, 92:109] == 1).all()
    assert not found.labels[195:235, 195:235].any()
    assert _overlap(found.labels == 1, pit) > 0.8
    assert np.array_equal(np.isnan(found.depth_below_reference_um), np.isnan(z))


def test_a_pit_of_which_only_the_sinking_rim_was_measured_is_for_review():
    z = _rough()
    y, x = np.mgrid[0 : z.shape[0], 0 : z.shape[1]]
    r = np.hypot(y - 150, x - 150)
    z -= np.where(r < 50, 15 * (1 - (r / 50) ** 2), 0).astype(np.float32)
    z[r < 49] = np.nan
    found = _find(z)
    assert found.labels.max() == 0
    assert found.review_reason[found.review[150, 150] - 1] == UNMEASURED
    assert len(found.review_roughness_um) == len(found.review_reason)


def test_a_groove_is_for_review():
    z = _rough()
    z[100:106, 40:250] -= 3
    found = _find(z)
    assert found.labels.max() == 0
    assert GROOVE_LIKE in found.review_reason.tolist()


def test_limits_are_named_where_near_or_missed():
    z = _rough()
    _dig(z, 150, 160, 25, 1.0)
    found = _find(z, min_depth_um=0.95)
    assert found.near_limit.tolist() == ["depth"]
    missed = _find(z, min_depth_um=1.25)
    assert missed.labels.max() == 0
    assert missed.review_reason.tolist() == [JUST_BELOW + "depth"]
    assert _find(z, min_depth_um=5.0).labels.max() == 0


def test_smallest_diameter():
    z = _rough()
    _dig(z, 150, 160, 10, 3)
    assert _find(z, min_diameter_px=18.0).labels.max() == 1
    assert _find(z, min_diameter_px=30.0).labels.max() == 0


def test_outside_the_region_nothing_is_found():
    z = _rough()
    _dig(z, 150, 60, 15, 4)
    inside = _dig(z, 150, 240, 15, 4)
    region = np.zeros(z.shape, bool)
    region[:, 150:] = True
    found = _find(z, region=region)
    assert found.labels.max() == 1
    assert _overlap(found.labels == 1, inside) > 0.75
    assert not found.labels[:, :150].any()
    assert not found.review[:, :150].any()


def test_scale_changes_nothing_for_square_pixels():
    z = _rough()
    _dig(z, 150, 160, 10, 3)
    assert np.array_equal(find_deep_pits(z, pixel_size_um=None, **LIMITS).labels, _find(z).labels)


def test_aspect_counts_in_length_not_in_pixels():
    z = _rough()
    y, x = np.mgrid[0 : z.shape[0], 0 : z.shape[1]]
    rho = np.hypot((y - 150) / 10, (x - 160) / 55)
    z -= np.where(rho < 1, 4 * (1 - rho**2), 0).astype(np.float32)
    assert find_deep_pits(z, pixel_size_um=(0.2, 1.0), **LIMITS).labels.max() == 1
    assert find_deep_pits(z, pixel_size_um=(1.0, 1.0), **LIMITS).labels.max() == 0


def test_same_result_on_any_number_of_threads():
    z = _rough(2, (600, 600))
    rng = np.random.default_rng(0)
    for _ in range(25):
        _dig(z, *rng.uniform(0, 600, 2), rng.uniform(4, 25), rng.uniform(0.8, 5))
    z[rng.random(z.shape) < 0.02] = np.nan
    before = cv2.getNumThreads()
    try:
        cv2.setNumThreads(1)
        one = _find(z)
    finally:
        cv2.setNumThreads(before)
    many = _find(z)
    assert np.array_equal(one.labels, many.labels)
    assert np.array_equal(one.depth_below_reference_um, many.depth_below_reference_um, equal_nan=True)
    assert np.array_equal(one.prominence_um, many.prominence_um)


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="2-D float"):
        _find(np.zeros((4, 4), int))
    with pytest.raises(ValueError, match="no height was measured"):
        _find(np.full((20, 20), np.nan, np.float32))


@pytest.mark.parametrize("z", [np.zeros((30, 40), np.float32), np.zeros((1, 1), np.float32)])
def test_a_surface_without_any_roughness_has_no_pits(z):
    assert _find(z).labels.max() == 0


def test_a_pit_in_a_surface_without_roughness():
    z = np.zeros((200, 200), np.float32)
    pit = _dig(z, 100, 100, 20, 5)
    found = _find(z)
    assert found.labels.max() == 1
    assert _overlap(found.labels == 1, pit) > 0.9


def test_a_pit_of_which_the_wall_was_measured_is_a_pit():
    z = _rough()
    y, x = np.mgrid[0 : z.shape[0], 0 : z.shape[1]]
    r = np.hypot(y - 150, x - 150)
    pit = r < 22
    z -= np.where(pit, 8 * (1 - (r / 22) ** 2), 0).astype(np.float32)
    z[r < 19] = np.nan
    found = _find(z)
    assert found.labels.max() == 1
    assert _overlap(found.labels == 1, pit) > 0.9
