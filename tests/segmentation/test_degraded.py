import cv2
import numpy as np
import pytest

from surfscan.segmentation.degraded import degraded_area

SIDE = 240


def patches(share, seed=1, scale=14.0, shape=(SIDE, SIDE)):
    """Ragged patches that cover `share` of a field."""
    field = cv2.GaussianBlur(np.random.default_rng(seed).normal(size=shape), (0, 0), scale)
    return field > np.quantile(field, 1 - share)


def lit(shape=(SIDE, SIDE), shading=0.4):
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    return 1 - shading * (0.7 * cols / shape[1] + 0.3 * (rows / shape[0]) ** 2)


def surface(true, level=0.65, shading=0.4, noise=0.05, seed=2):
    """Grey picture: metal at 170 under slanting light, product at `level` of it, optics and noise."""
    grey = 170 * np.where(true, level, 1.0)
    grey = cv2.GaussianBlur(grey, (0, 0), 1.0) * lit(true.shape, shading)
    grey *= np.random.default_rng(seed).normal(1, noise, true.shape)
    return np.clip(grey, 0, 255).astype(np.uint8)


def coloured(true, product, noise=0.05, seed=3):
    metal = np.array([160.0, 160.0, 165.0])
    rgb = np.where(true[..., None], np.asarray(product, float), metal)
    rgb = cv2.GaussianBlur(rgb, (0, 0), 1.0) * lit(true.shape)[..., None]
    rgb *= np.random.default_rng(seed).normal(1, noise, rgb.shape)
    return np.clip(rgb, 0, 255).astype(np.uint8)


def overlap(found, true):
    return np.count_nonzero(found & true) / np.count_nonzero(found | true)


def check(area, true, iou=0.93):
    share = true.mean()
    assert overlap(area.classes == 2, true) > iou
    assert area.fraction == pytest.approx(share, rel=0.05, abs=0.002)
    assert area.fraction_low <= share <= area.fraction_high
    assert area.fraction_high - area.fraction_low < 0.35 * share + 0.02


@pytest.mark.parametrize("share", [0.02, 0.2, 0.35])
@pytest.mark.parametrize(("level", "direction"), [(0.65, "darker"), (1.4, "lighter")])
def test_patches_under_slanting_light_are_measured(share, level, direction):
    true = patches(share)
    area = degraded_area(surface(true, level))
    check(area, true)
    assert area.degraded_is == direction
    assert area.levels[1] == pytest.approx(level, abs=0.06)


def test_a_gradual_glare_band_is_doubted():
    cols = np.arange(480) + np.zeros((360, 1))
    band = 1 + 0.9 * np.exp(-(((cols - 260) / 45.0) ** 2))
    grey = 90 * band * np.random.default_rng(5).normal(1, 0.03, band.shape)
    area = degraded_area(grey.astype(np.uint8))
    assert area.fraction_low == 0.0
    assert area.degraded_is is None or any("gradual" in w for w in area.warnings)
    assert not any("gradual" in w for w in degraded_area(surface(patches(0.2))).warnings)


def test_darker_surface_may_cover_more_than_half():
    true = patches(0.6)
    check(degraded_area(surface(true)), true)


def test_one_large_patch_is_not_taken_for_shading():
    rows, cols = np.mgrid[:SIDE, :SIDE]
    true = cols + 0.3 * rows > 0.85 * SIDE
    check(degraded_area(surface(true, shading=0.6)), true)


def test_faint_patches_in_noise_are_measured():
    true = patches(0.2)
    check(degraded_area(surface(true, level=0.85, noise=0.1)), true, iou=0.88)


def test_dark_pits_and_light_film_are_both_degraded():
    film = patches(0.25, seed=4)
    pits = patches(0.04, seed=5, scale=8.0) & ~film
    grey = surface(film, level=1.45, noise=0.03).astype(float)
    grey *= cv2.GaussianBlur(np.where(pits, 0.4, 1.0), (0, 0), 1.0)
    area = degraded_area(np.clip(grey, 0, 255).astype(np.uint8))
    assert area.degraded_is == "darker and lighter"
    assert overlap(area.classes == 2, film | pits) > 0.9
    assert area.fraction_low <= (film | pits).mean() <= area.fraction_high


def test_a_textured_film_beside_many_small_pits_is_found():
    film = patches(0.08, seed=4)
    pits = patches(0.03, seed=5, scale=5.0) & ~film
    rng = np.random.default_rng(6)
    texture = 1 + 0.15 * cv2.GaussianBlur(rng.normal(size=film.shape), (0, 0), 1.5) * film * 3
    grey = 115 * np.where(film, 1.5, np.where(pits, 0.45, 1.0)) * np.clip(texture, 0.6, 1.5)
    grey = cv2.GaussianBlur(grey, (0, 0), 0.8) + rng.normal(0, 1.5, grey.shape)
    area = degraded_area(np.clip(grey, 0, 255).astype(np.uint8))
    assert area.fraction == pytest.approx((film | pits).mean(), rel=0.1)


def test_a_faint_halo_is_left_out_and_a_clean_edge_is_cut_half_way():
    rows, cols = np.mgrid[:SIDE, :SIDE]
    true = np.hypot(rows - 120, cols - 120) < 60
    halo = np.hypot(rows - 120, cols - 120) < 85
    noise = np.random.default_rng(8).normal(1, 0.02, true.shape)
    level = np.where(true, 0.4, np.where(halo, 0.75 + 0.2 * (np.hypot(rows - 120, cols - 120) - 60) / 25, 1))
    haloed = degraded_area((170 * cv2.GaussianBlur(level, (0, 0), 1.0) * noise).astype(np.uint8))
    clean = np.where(true, 0.4, 1.0)
    clean = degraded_area((170 * cv2.GaussianBlur(clean, (0, 0), 3.0) * noise).astype(np.uint8))
    for area in (haloed, clean):
        assert area.fraction == pytest.approx(true.mean(), rel=0.05)


@pytest.mark.parametrize("shading", [0.0, 0.7])
@pytest.mark.parametrize("noise", [0.02, 0.15])
def test_bare_metal_has_no_degraded_area(shading, noise):
    area = degraded_area(surface(np.zeros((SIDE, SIDE), bool), shading=shading, noise=noise))
    assert area.fraction == 0.0
    assert 0.0 <= area.fraction_high < 0.02
    assert area.degraded_is is None
    assert not area.classes.any()
    assert "one class" in area.warnings[0]


@pytest.mark.parametrize("product", [(150, 95, 50), (196, 149, 100)])
def test_rust_is_found_by_its_colour(product):
    true = patches(0.2)
    area = degraded_area(coloured(true, product))
    check(area, true)
    assert area.colour_decides


def test_bare_metal_in_colour_has_no_degraded_area():
    area = degraded_area(coloured(np.zeros((SIDE, SIDE), bool), (0, 0, 0)))
    assert area.fraction == 0.0
    assert area.fraction_high < 0.02


def test_three_classes_tell_tarnished_from_degraded():
    rows, cols = np.mgrid[:SIDE, :SIDE]
    degraded = np.hypot(rows - 90, cols - 90) < 60
    tarnished = np.hypot(rows - 220, cols - 220) < 70
    level = np.where(degraded, 0.3, np.where(tarnished, 0.7, 1.0))
    grey = 180 * cv2.GaussianBlur(level, (0, 0), 1.0) * lit(shading=0.2)
    grey *= np.random.default_rng(6).normal(1, 0.03, grey.shape)
    area = degraded_area(grey.astype(np.uint8), classes=3)
    assert overlap(area.classes == 2, degraded) > 0.93
    assert overlap(area.classes == 1, tarnished) > 0.85
    assert area.tarnished_low <= tarnished.mean() <= area.tarnished_high
    assert area.fraction == pytest.approx(np.mean(area.classes == 2), abs=1e-12)
    assert area.tarnished == pytest.approx(np.mean(area.classes == 1), abs=1e-12)
    np.testing.assert_allclose(area.levels, [1.0, 0.7, 0.3], atol=0.04)
    assert len(area.boundaries) == 2


def test_a_third_class_is_not_invented():
    area = degraded_area(surface(patches(0.2)), classes=3)
    assert area.tarnished is None
    assert not np.any(area.classes == 1)
    assert any("No third class" in w for w in area.warnings)


def test_only_the_region_counts_and_its_surround_does_not_bleed_in():
    true = patches(0.2)
    region = np.zeros(true.shape, bool)
    region[:, : SIDE // 2] = True
    grey = surface(true)
    grey[~region] = 0
    area = degraded_area(grey, region)
    assert not area.classes[~region].any()
    assert overlap(area.classes == 2, true & region) > 0.92
    assert area.fraction == pytest.approx(true[region].mean(), rel=0.06)


def test_depth_of_the_pixels_does_not_matter():
    grey = surface(patches(0.2))
    expected = degraded_area(grey).fraction
    assert degraded_area(grey.astype(np.uint16) * 257).fraction == pytest.approx(expected, rel=2e-3)
    assert degraded_area(grey.astype(np.float32) / 255).fraction == pytest.approx(expected, rel=2e-3)


def test_same_input_same_output():
    grey = surface(patches(0.2))
    first, second = degraded_area(grey), degraded_area(grey.copy())
    np.testing.assert_array_equal(first.classes, second.classes)
    assert (first.fraction, first.fraction_low, first.fraction_high) == (
        second.fraction,
        second.fraction_low,
        second.fraction_high,
    )


def test_the_boundary_moves_the_fraction_within_its_interval():
    grey = surface(patches(0.2))
    at = {cut: degraded_area(grey, boundary=cut) for cut in (0.5, 0.6, 0.7)}
    assert at[0.5].fraction > at[0.6].fraction > at[0.7].fraction
    assert at[0.6].fraction_low <= at[0.7].fraction
    assert at[0.5].fraction <= at[0.6].fraction_high


def test_a_blurred_edge_widens_the_interval():
    true = patches(0.2, scale=20.0)
    widths = []
    for blur in (1.0, 5.0):
        grey = cv2.GaussianBlur(170 * np.where(true, 0.5, 1.0), (0, 0), blur)
        grey *= np.random.default_rng(7).normal(1, 0.03, grey.shape)
        area = degraded_area(grey.astype(np.uint8))
        widths.append(area.fraction_high - area.fraction_low)
    assert widths[1] > 1.5 * widths[0]


def test_specks_and_pinholes_below_the_smallest_patch_are_dropped():
    true = np.zeros((SIDE, SIDE), bool)
    true[100:220, 100:220] = True
    marked = true.copy()
    marked[40:44, 40:44] = True
    marked[160:164, 160:164] = False
    area = degraded_area(surface(marked, noise=0.02), min_patch_px=30)
    assert not area.classes[30:55, 30:55].any()
    assert (area.classes[150:175, 150:175] == 2).all()
    kept = degraded_area(surface(marked, noise=0.02), min_patch_px=1)
    assert kept.classes[41, 41] == 2
    assert kept.classes[161, 161] == 0


def test_a_field_degraded_nearly_all_over_is_doubted():
    true = patches(0.95)
    area = degraded_area(surface(true), degraded_is="darker")
    assert area.fraction == pytest.approx(0.95, abs=0.02)
    assert any("check which class is the metal" in w for w in area.warnings)
