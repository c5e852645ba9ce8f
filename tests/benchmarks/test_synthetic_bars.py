"""The drawn scale bars: repeatable, and where they say they are."""

import numpy as np
import pytest
import synthetic_bars


def test_same_seed_gives_same_bytes_and_another_seed_does_not():
    first, again, other = (synthetic_bars.bar_picture(s) for s in (3, 3, 5))
    assert np.array_equal(first.pixels, again.pixels) and first.bars == again.bars
    assert first.bars != other.bars


@pytest.mark.parametrize("kind", synthetic_bars.GROUNDS)
def test_grounds(kind):
    picture = synthetic_bars.ground(kind, 1, (200, 300))
    assert picture.shape == (200, 300) and picture.dtype == np.uint8 and picture.std() > 1


@pytest.mark.parametrize("place", synthetic_bars.PLACES)
def test_the_bar_is_where_it_is_said_to_be(place):
    picture = synthetic_bars.bar_picture(11, place=place)
    (bar,) = picture.bars
    ink = np.array(picture.style["ink"])
    inside = picture.pixels[round(bar.row_px), round(bar.col_start_px) + 2 : round(bar.col_end_px) - 1]
    inside = inside if inside.ndim == 2 else np.repeat(inside[:, None], 3, axis=1)
    assert np.median(np.abs(inside.astype(float) - ink)) < 60  # JPEG and blur take some of a thin line
    outer, centres = bar.pixel_sizes_um
    between = bar.col_end_px - bar.col_start_px
    assert bar.length_um == pytest.approx(centres * between)
    assert bar.length_um == pytest.approx(outer * (between + bar.tick_width_px))


def test_two_bars_and_none():
    assert len(synthetic_bars.bar_picture(1, n_bars=2).bars) == 2
    assert synthetic_bars.barless_picture(1).bars == ()


@pytest.mark.parametrize(("length_um", "start"), [(0.5, "500"), (10.0, "10"), (1000.0, "1")])
def test_labels(length_um, start):
    text = synthetic_bars.label_text(length_um, np.random.default_rng(1))
    assert text.startswith(start) and text.endswith("m")
