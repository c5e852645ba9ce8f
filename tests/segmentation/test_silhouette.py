"""Struts told from background: polarity, glints, product, and pictures that show none."""

import numpy as np
import pytest

from surfscan.segmentation.silhouette import NoStrutError, find_silhouette, given_silhouette, polarity_of

SHAPE = (240, 320)
Y, X = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)


def ramp(distance, blur=0.8):
    """Covered share at a distance inside an edge."""
    return 1 / (1 + np.exp(-1.7 * np.asarray(distance) / blur))


def picture(distance, inside=40.0, outside=200.0, noise=4.0, seed=0):
    """Metal where `distance` (to the edge, inwards) is above 0."""
    rng = np.random.default_rng(seed)
    grey = outside + (inside - outside) * ramp(distance) + rng.normal(0, noise, SHAPE)
    return np.clip(np.round(grey), 0, 255).astype(np.uint8)


def bar(width=50.0):
    return width / 2 - np.abs(Y - 120 + 0.3 * (X - 160)) / np.hypot(1, 0.3)


def mesh():
    u, v = (0.9 * X + 0.44 * Y) % 80, (-0.44 * X + 0.9 * Y) % 80
    return np.maximum(10 - np.abs(u - 40), 10 - np.abs(v - 40))


@pytest.mark.parametrize("shape", [bar, mesh])
@pytest.mark.parametrize(("inside", "outside", "polarity"), [(40, 200, "dark"), (180, 50, "light")])
def test_mask_and_polarity(shape, inside, outside, polarity):
    found = find_silhouette(picture(shape(), inside, outside))
    assert found.polarity == polarity
    wrong = found.mask != (shape() > 0)
    assert not wrong[np.abs(shape()) > 1.5].any()
    assert found.levels.contrast == pytest.approx(abs(inside - outside), rel=0.05)


def test_a_strut_wider_than_its_background():
    found = find_silhouette(picture(160 / 2 - np.abs(Y - 120)))
    assert found.polarity == "dark"


def test_the_polarity_stated_is_taken():
    found = find_silhouette(picture(mesh()), polarity="light")
    assert found.polarity == "light"
    assert not (found.mask & (mesh() > 2)).any()


def test_a_stripe_pattern_leaves_the_polarity_in_doubt():
    stripes = 12 - np.abs((Y + 24) % 48 - 24)
    assert polarity_of(stripes[:216] > 0, np.ones((216, 320), bool))[1] < 1.25
    assert any("state the polarity" in w for w in find_silhouette(picture(stripes)[:216]).warnings)


def test_uneven_light():
    grey = picture(bar()).astype(float) * (0.5 + 0.5 * X / 320)
    found = find_silhouette(grey.astype(np.float32))
    wrong = found.mask != (bar() > 0)
    assert not wrong[np.abs(bar()) > 1.5].any()


def test_glints_are_metal_and_through_pits_are_not():
    grey = picture(bar())
    spot = np.hypot(Y - 120, X - 160) < 7
    glint, pit = grey.copy(), grey.copy()
    glint[spot], pit[spot] = 250, 200
    bright = find_silhouette(glint)
    assert bright.mask[120, 160]
    assert bright.glints[120, 160]
    opened = find_silhouette(pit)
    assert not opened.mask[120, 160]
    assert opened.through_pits[120, 160]
    assert opened.solid[120, 160]
    assert any("open" in w for w in opened.warnings)
    assert find_silhouette(pit, holes="filled").mask[120, 160]


def test_product_in_between_does_not_hide_the_struts():
    share = ramp(bar()) + 0.6 * (ramp(bar() + 8) - ramp(bar()))
    rng = np.random.default_rng(0)
    found = find_silhouette((200 - 160 * share + rng.normal(0, 3, SHAPE)).astype(np.float32))
    assert not (found.mask != (bar() > 0))[np.abs(bar()) > 2].any()
    level = found.levels.at(np.array([120.0]), np.array([160.0]))
    assert level[0][0] == pytest.approx(40, abs=4)
    assert level[1][0] == pytest.approx(200, abs=5)


def test_colour_tells_where_grey_does_not():
    metal = ramp(bar())
    rng = np.random.default_rng(0)
    planes = [120 + 60 * metal, 120 - 30.7 * metal, 120 + 0 * metal]  # one luminance
    colour = np.stack(planes, axis=-1) + rng.normal(0, 3, (*SHAPE, 3))
    found = find_silhouette(colour.astype(np.uint8), polarity="light")
    assert not (found.mask != (bar() > 0))[np.abs(bar()) > 3].any()


def test_what_may_not_be_used_is_not_metal():
    valid = np.ones(SHAPE, bool)
    valid[:, :60] = False
    found = find_silhouette(picture(bar()), valid=valid)
    assert not found.mask[:, :60].any()
    gaps = picture(bar()).astype(np.float32)
    gaps[:, :60] = np.nan
    assert np.isfinite(find_silhouette(gaps).grey).all()


def test_specks_are_left_out_and_counted():
    grey = picture(bar(), noise=2)
    grey[20:24, 20:24] = 40
    found = find_silhouette(grey)
    assert not found.mask[22, 22]
    assert any("speck" in w for w in found.warnings)


def blobs(size):
    import cv2

    noise = cv2.GaussianBlur(np.random.default_rng(0).normal(size=SHAPE).astype(np.float32), (0, 0), size)
    return 120 + 30 * noise / noise.std()


NO_STRUT = {
    "noise": lambda: np.random.default_rng(0).normal(120, 20, SHAPE),
    "one grey": lambda: np.full(SHAPE, 90.0),
    "light that falls off": lambda: 60 + X / 4 + np.random.default_rng(0).normal(0, 3, SHAPE),
    "fine texture": lambda: blobs(1.5),
    "coarse texture": lambda: blobs(12.0),
    "too thin": lambda: picture(bar(3.0)),
}


@pytest.mark.parametrize("name", NO_STRUT)
def test_no_strut_is_said_so(name):
    with pytest.raises(NoStrutError, match=r"no strut|No strut") as refused:
        find_silhouette(np.clip(NO_STRUT[name](), 0, 255).astype(np.uint8))
    assert "wider than the field" in str(refused.value) or "fills the field" in str(refused.value)
    assert refused.value.remedy


def test_noise_is_warned_of():
    assert any("Noise" in w for w in find_silhouette(picture(bar(), noise=20)).warnings)


def test_an_outline_that_was_given():
    found = given_silhouette(picture(bar(), 180, 50), bar() > 0)
    assert found.polarity == "light"
    assert np.array_equal(found.mask, bar() > 0)
    with pytest.raises(NoStrutError, match="whole field"):
        given_silhouette(picture(bar()), np.ones(SHAPE, bool))
    with pytest.raises(ValueError, match="mask has shape"):
        given_silhouette(picture(bar()), np.ones((3, 3), bool))


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="at least 16 px a side"):
        find_silhouette(np.zeros((5, 5)))
    with pytest.raises(ValueError, match="valid has shape"):
        find_silhouette(picture(bar()), valid=np.ones((3, 3), bool))
    with pytest.raises(NoStrutError, match="256 pixels"):
        find_silhouette(picture(bar()), valid=np.zeros(SHAPE, bool))


def test_the_same_picture_gives_the_same_mask():
    first, second = find_silhouette(picture(bar())), find_silhouette(picture(bar()))
    assert np.array_equal(first.mask, second.mask)
    assert np.array_equal(first.levels.inside, second.levels.inside)


@pytest.mark.parametrize("shape", [(1, 300), (12, 300)])
def test_a_picture_too_small_for_a_strut(shape):
    with pytest.raises(NoStrutError, match="too small"):
        find_silhouette(np.full(shape, 200, np.uint8))


@pytest.mark.parametrize("wide", [1, 2, 4])
def test_a_line_too_thin_to_measure_is_said_so(wide):
    """Without noise too, where a class may be left without pixels."""
    grey = np.full((200, 300), 190, np.uint8)
    grey[100 : 100 + wide] = 50
    with pytest.raises(NoStrutError, match="under 6 px"):
        find_silhouette(grey)
