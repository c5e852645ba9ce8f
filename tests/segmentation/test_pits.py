"""The pit finder end to end, on small pictures whose pits are known."""

import cv2
import numpy as np
import pytest

from surfscan.segmentation.pits import ALONG_EDGE, CRACK_LIKE, JUST_BELOW, SOFT_EDGED, find_dark_pits

SHAPE = (240, 256)
DEFAULTS = {"min_contrast": 0.08, "min_contrast_to_noise": 4.0, "min_diameter_px": 4.0, "max_aspect": 4.0}
SPOTS = (
    (40, 50, 5, 0.35),
    (45, 130, 9, 0.2),
    (50, 210, 14, 0.5),
    (125, 40, 20, 0.3),
    (120, 140, 7, 0.45),
    (130, 215, 4, 0.4),
    (200, 60, 11, 0.25),
    (195, 150, 16, 0.6),
    (205, 220, 6, 0.3),
)


def find(grey, **settings):
    return find_dark_pits(grey, **DEFAULTS | settings)


def picture(contrast, seed=1, noise=3.0, light=0.35):
    """Grey picture of a contrast image under uneven light, with camera noise, uint8."""
    rows, cols = contrast.shape
    y, x = np.linspace(-1, 1, rows)[:, None], np.linspace(-1, 1, cols)[None, :]
    lit = 185 * (1 - contrast) * (1 - light * (0.3 * (x + y + 2) / 2 + 0.35 * (x * x + y * y)))
    lit = lit + np.random.default_rng(seed).normal(0, noise, contrast.shape)
    return np.clip(np.rint(lit), 0, 255).astype(np.uint8)


def line(start, end, strength, width):
    """Contrast of a scratch from `start` to `end`, (row, col)."""
    drawn = np.zeros(SHAPE, np.float32)
    cv2.line(drawn, start[::-1], end[::-1], strength, width, cv2.LINE_AA)
    return cv2.GaussianBlur(drawn, (0, 0), 0.8)


def areas(found):
    return np.bincount(found.labels.ravel(), minlength=found.labels.max() + 1)[1:]


def assert_known_spots(found, spots=SPOTS, rel=0.12):
    """One pit for each spot, each of its area, and no other."""
    assert found.labels.max() == len(spots)
    area = areas(found)
    for row, col, radius, _ in spots:
        label = found.labels[row, col]
        assert label > 0, f"nothing found at {row}, {col}"
        assert area[label - 1] == pytest.approx(np.pi * radius**2, rel=rel), f"at {row}, {col}"


@pytest.fixture(scope="module")
def spots(draw_discs):
    return draw_discs(SHAPE, SPOTS)


def test_known_discs_under_uneven_light_and_noise(spots):
    """Every disc once, each area within 12 %, their sum within 3 %, contrast as drawn."""
    found = find(picture(spots))
    assert_known_spots(found)
    assert areas(found).sum() == pytest.approx(sum(np.pi * r**2 for _, _, r, _ in SPOTS), rel=0.03)
    for row, col, radius, strength in SPOTS:
        if radius > 5:
            assert found.contrast[found.labels[row, col] - 1] == pytest.approx(strength, abs=0.025)
    assert (found.contrast_to_noise > 4).all()
    assert not found.followed_lines and 1 <= found.smoothing_px <= 2
    assert len(found.contrast) == len(found.contrast_to_noise) == len(found.near_limit) == len(SPOTS)


def test_scratches_and_a_stain_do_not_change_the_count(spots, draw_discs):
    """Long scratches, one across a pit, and a faint soft stain over others."""
    marks = 1 - line((75, 0), (90, 255), 0.3, 2)
    marks *= 1 - line((239, 90), (140, 170), 0.25, 3)
    marks *= 1 - draw_discs(SHAPE, [(170, 60, 50, 0.05)], 12.0)
    found = find(picture(1 - (1 - spots) * marks))
    assert_known_spots(found, rel=0.15)
    assert CRACK_LIKE in found.review_reason


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("noise", [2.0, 8.0])
def test_bare_metal_has_no_pits(seed, noise):
    """Noise and uneven light alone: nothing counted."""
    assert not find(picture(np.zeros(SHAPE, np.float32), seed, noise)).labels.any()


@pytest.mark.parametrize("ends", [((120, 10), (120, 250)), ((20, 20), (210, 230)), ((5, 128), (235, 100))])
@pytest.mark.parametrize("width, strength", [(1, 0.5), (3, 0.25), (5, 0.4)])
def test_scratch_is_listed_and_not_counted(ends, width, strength):
    """A feature that is long and thin goes to the list for review, with its reason and contrast."""
    found = find(picture(line(*ends, strength, width)))
    assert not found.labels.any()
    assert found.review.max() == len(found.review_reason) >= 1
    assert CRACK_LIKE in found.review_reason
    assert len(found.review_contrast) == len(found.review_contrast_to_noise) == len(found.review_reason)
    assert found.review_contrast[found.review_reason == CRACK_LIKE].max() > 0.08


@pytest.mark.parametrize("stain", [0.1, 0.2])
@pytest.mark.parametrize("radius", [5, 9, 14])
def test_pit_in_a_stain_is_measured_against_the_stain(draw_discs, radius, stain):
    """A pit keeps its outline, and its contrast is that against the stained metal round it."""
    contrast = draw_discs((200, 200), [(100, 100, 40, stain)], 3.0)
    contrast += draw_discs((200, 200), [(100, 100, radius, 0.35)], 0.9)
    noise = np.random.default_rng(4).normal(0, 0.02, contrast.shape)
    grey = np.clip(160 * (1 - contrast) * (1 + noise), 0, 255).astype(np.uint8)
    found = find(grey)
    pit = found.labels[100, 100]
    assert pit > 0
    assert np.count_nonzero(found.labels == pit) == pytest.approx(np.pi * radius**2, rel=0.15)
    assert found.contrast[pit - 1] == pytest.approx(0.35 / (1 - stain), abs=0.04)


def test_faint_stain_is_not_counted(draw_discs):
    """A faint stain with a soft edge is no pit."""
    assert not find(picture(draw_discs(SHAPE, [(120, 120, 60, 0.06)], 15.0))).labels.any()


def test_what_shades_off_over_more_than_its_radius_is_listed():
    """A dark spot without an edge is listed with the reason, and not counted."""
    away = np.hypot(*np.mgrid[-120:120, -128:128])
    found = find(picture((0.5 * np.exp(-away / 12)).astype(np.float32)))
    assert not found.labels.any() and SOFT_EDGED in found.review_reason


@pytest.mark.parametrize("across_deg", [0, 90, 60])
def test_machining_lines_are_texture(draw_discs, across_deg):
    """Lines over the whole field are followed: none is counted, and the pits among them are found."""
    rows, cols = np.mgrid[: SHAPE[0], : SHAPE[1]]
    place = rows * np.sin(np.radians(across_deg)) + cols * np.cos(np.radians(across_deg))
    profile = np.random.default_rng(3).normal(0, 1, (1, 1000)).astype(np.float32)
    profile = cv2.GaussianBlur(profile, (0, 0), 1.5)[0]
    lines = np.interp(place, np.arange(-400, 600), 0.07 * profile / profile.std())
    bare = find(picture(lines))
    assert bare.followed_lines and not bare.labels.any()
    pits = [(60, 60, 9, 0.5), (130, 180, 12, 0.55), (190, 80, 7, 0.6)]
    found = find(picture(1 - (1 - draw_discs(SHAPE, pits)) * (1 - lines)))
    assert_known_spots(found, pits, rel=0.2)


@pytest.mark.parametrize("angle_deg", [0, 35, 90])
def test_touching_pair_is_two_pits(draw_discs, angle_deg):
    """Two overlapping discs, parted where they cross."""
    step = 10.5 * np.array([np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))])
    one, two = np.array([120, 128]) - step, np.array([120, 128]) + step
    found = find(picture(draw_discs(SHAPE, [(*one, 12, 0.4), (*two, 12, 0.4)])))
    assert found.labels.max() == 2
    assert areas(found).min() == pytest.approx(areas(found).max(), rel=0.06)
    assert found.labels[tuple(np.rint(one).astype(int))] != found.labels[tuple(np.rint(two).astype(int))]


def test_pit_with_a_bright_rim(draw_discs):
    """A bright rim moves the outline by less than 8 % of the area."""
    pit, rim = draw_discs(SHAPE, [(120, 128, 12, 0.4)], 0), draw_discs(SHAPE, [(120, 128, 14, 0.2)], 0)
    contrast = np.where(pit > 0, pit, -rim).astype(np.float32)
    found = find(picture(cv2.GaussianBlur(contrast, (0, 0), 1.0)))
    assert_known_spots(found, [(120, 128, 12, 0.4)], rel=0.08)


def test_large_pit_on_a_small_picture(draw_discs):
    """A pit wider than the light's scale is not taken for shade."""
    spot = (120, 128, 42, 0.35)
    assert_known_spots(find(picture(draw_discs(SHAPE, [spot]))), [spot], rel=0.02)


def test_pits_under_glare(draw_discs):
    """Two pits of one contrast, one of them where the light is a fifth brighter."""
    pits = [(120, 60, 8, 0.3), (120, 200, 8, 0.3)]
    rows, cols = np.mgrid[: SHAPE[0], : SHAPE[1]]
    glare = 0.2 * np.exp(-(((rows - 120) ** 2 + (cols - 200) ** 2) / 120**2))
    grey = 170 * (1 - draw_discs(SHAPE, pits)) * (1 + glare)
    grey += np.random.default_rng(1).normal(0, 3, SHAPE)
    found = find(np.clip(np.rint(grey), 0, 255).astype(np.uint8))
    assert_known_spots(found, pits, rel=0.06)
    assert found.contrast.tolist() == pytest.approx([0.3, 0.3], abs=0.025)


def test_min_diameter(spots):
    """Pits below the limit are not counted; those just below it are listed with the reason."""
    found = find(picture(spots), min_diameter_px=13.0)
    assert found.labels.max() == sum(2 * r >= 13 for _, _, r, _ in SPOTS)
    assert JUST_BELOW + "diameter" in found.review_reason
    assert found.review[205, 220] > 0 and found.labels[130, 215] == found.review[130, 215] == 0
    assert (2 * np.sqrt(areas(found) / np.pi) >= 13).all()


def test_min_contrast(spots):
    """Pits fainter than the limit are not counted; those just below it are listed with the reason."""
    found = find(picture(spots), min_contrast=0.32)
    assert found.labels.max() == sum(k > 0.32 for *_, k in SPOTS)
    assert (found.contrast >= 0.32).all()
    assert found.review[125, 40] > 0
    assert found.review_reason[found.review[125, 40] - 1] == JUST_BELOW + "contrast"
    assert found.labels[45, 130] == found.review[45, 130] == 0


def test_min_contrast_to_noise(spots):
    """Noise raises what a pit must pass, and the limit is in units of it."""
    quiet, loud = find(picture(spots, noise=2.0)), find(picture(spots, noise=8.0))
    assert loud.contrast_to_noise.mean() < 0.6 * quiet.contrast_to_noise.mean()
    limit = float(np.median(loud.contrast_to_noise))
    strict = find(picture(spots, noise=8.0), min_contrast_to_noise=limit)
    assert 0 < strict.labels.max() < loud.labels.max()
    assert (strict.contrast_to_noise >= limit).all()


def test_max_aspect(draw_discs):
    """An elongated pit is one or crack-like, as the limit says."""
    contrast = draw_discs(SHAPE, [(120, col, 7, 0.4) for col in range(118, 134)])
    assert find(picture(contrast)).labels.max() == 1
    strict = find(picture(contrast), max_aspect=1.5)
    assert not strict.labels.any() and strict.review_reason.tolist() == [CRACK_LIKE]


def test_near_limit_says_which(spots):
    """A pit that passed a limit by less than a quarter says so; others say nothing."""
    found = find(picture(spots), min_diameter_px=9.0, min_contrast=0.18)
    near = {(r, c): found.near_limit[found.labels[r, c] - 1] for r, c, *_ in SPOTS if found.labels[r, c]}
    assert near[40, 50] == "diameter"
    assert near[45, 130] == "contrast"
    assert near[195, 150] == near[120, 140] == ""


def test_sliver_along_the_picture_edge_is_listed():
    """A dark corner of the picture may be anything."""
    rows, cols = np.mgrid[: SHAPE[0], : SHAPE[1]]
    contrast = np.where(rows + cols < 22, 0.4, 0).astype(np.float32)
    found = find(picture(cv2.GaussianBlur(contrast, (0, 0), 0.8)))
    assert not found.labels.any() and found.review_reason.tolist() == [ALONG_EDGE]


def test_pits_cut_by_the_picture_edge_are_found(draw_discs):
    """Half a pit on each side, a quarter in a corner."""
    cut = [(0, 60, 12, 0.4), (239, 180, 12, 0.4), (120, 0, 12, 0.4), (100, 255, 12, 0.4), (0, 255, 14, 0.4)]
    found = find(picture(draw_discs(SHAPE, cut)))
    assert found.labels.max() == 5
    assert areas(found)[found.labels[0, 60] - 1] == pytest.approx(np.pi * 12**2 / 2 + 12, rel=0.06)


def test_region_restricts(spots):
    """Nothing is found off the region; what lies there does not change what is found on it."""
    region = np.zeros(SHAPE, bool)
    region[:, :175] = True
    grey = picture(spots)
    other = grey.copy()
    other[:, 175:] = 0
    found = find(grey, region=region)
    on = [s for s in SPOTS if s[1] < 160]
    assert_known_spots(found, on)
    assert not found.labels[~region].any() and not found.review[~region].any()
    assert np.array_equal(found.labels, find(other, region=region).labels)


def test_other_dtypes_find_the_same(spots):
    """16 bits and floats, at any exposure, find the pits of 8 bits."""
    grey = picture(spots)
    one = find(grey)
    for other in (grey.astype(np.uint16) * 200, grey.astype(np.float32), grey.astype(np.float32) * 1e-3):
        found = find(other)
        assert found.labels.max() == one.labels.max()
        assert np.count_nonzero((found.labels > 0) != (one.labels > 0)) <= 0.005 * np.count_nonzero(
            one.labels
        )
        np.testing.assert_allclose(found.contrast, one.contrast, atol=0.004)


@pytest.mark.parametrize(
    "turn", [lambda a: np.rot90(a), lambda a: np.rot90(a, 2), np.fliplr, np.flipud, np.transpose]
)
def test_turned_and_mirrored_pictures(spots, turn):
    """The same pits on the same places: as many, and all but 2 % of their pixels."""
    grey = picture(1 - (1 - spots) * (1 - line((75, 0), (90, 255), 0.3, 2)))
    one, other = find(grey), find(np.ascontiguousarray(turn(grey)))
    assert other.labels.max() == one.labels.max() == len(SPOTS)
    differ = (other.labels > 0) != turn(one.labels > 0)
    assert np.count_nonzero(differ) <= 0.02 * np.count_nonzero(one.labels)


def test_same_picture_same_pits_on_any_number_of_threads(spots):
    """Bit for bit, again and on one thread or two; the picture itself is left alone."""
    grey = picture(spots)
    before, threads = grey.copy(), cv2.getNumThreads()
    results = []
    try:
        for n in (1, 2, 2):
            cv2.setNumThreads(n)
            results.append(find(grey))
    finally:
        cv2.setNumThreads(threads)
    for other in results[1:]:
        for name in ("labels", "review", "contrast", "contrast_to_noise", "near_limit", "review_reason"):
            assert np.array_equal(getattr(results[0], name), getattr(other, name)), name
    assert np.array_equal(grey, before)


def test_every_label_is_one_connected_object(spots):
    """Labels count from 1 without gaps, pits and features for review do not overlap."""
    found = find(picture(1 - (1 - spots) * (1 - line((75, 0), (90, 255), 0.3, 2))))
    for labels in (found.labels, found.review):
        assert labels.dtype == np.int32
        assert np.array_equal(np.unique(labels), np.arange(labels.max() + 1))
        for k in range(1, labels.max() + 1):
            assert cv2.connectedComponents((labels == k).astype(np.uint8), connectivity=8)[0] == 2
    assert not ((found.labels > 0) & (found.review > 0)).any()


def test_laid_over_a_larger_picture(spots):
    """Finds in a window are put in their place; figures stay."""
    found = find(picture(spots))
    laid = found.laid_over((300, 300), (slice(10, 250), slice(20, 276)))
    assert laid.labels.shape == laid.review.shape == (300, 300)
    assert np.array_equal(laid.labels[10:250, 20:276], found.labels)
    assert np.count_nonzero(laid.labels) == np.count_nonzero(found.labels)
    assert laid.contrast is found.contrast


@pytest.mark.parametrize("shape", [(10, 10), (1, 200), (200, 1), (3, 60), (33, 65)])
def test_small_and_odd_pictures(shape):
    """No error at any size, on noise, on black and white, and on a step."""
    rng = np.random.default_rng(2)
    step = np.where(np.arange(shape[1]) > shape[1] // 2, 200, 30) + np.zeros(shape)
    for grey in (rng.integers(0, 256, shape), 255 * rng.integers(0, 2, shape), step):
        found = find(grey.astype(np.uint8))
        assert found.labels.shape == shape
        assert found.labels.max() == len(found.contrast)


def test_picture_that_is_mostly_black():
    """A black surround that is in the picture does not make pits of itself or of the metal."""
    rows, cols = np.mgrid[-120:120, -128:128]
    grey = np.random.default_rng(4).normal(170, 4, SHAPE)
    grey[np.hypot(rows, cols) < 8] = 60
    grey[np.hypot(rows, cols) > 85] = 0
    found = find(np.clip(grey, 0, 255).astype(np.uint8))
    assert found.labels[120, 128] > 0
    assert areas(found)[found.labels[120, 128] - 1] == pytest.approx(np.pi * 64, rel=0.1)
