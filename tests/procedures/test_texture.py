"""The procedure: which surface is measured, what is said, what is refused."""

import cv2
import numpy as np
import pytest

from surfscan import Calibration, HeightMap, InputError, Source
from surfscan.columns import TEXTURE_PARAMETERS
from surfscan.measurement.texture import height_parameters
from surfscan.procedures import TextureSettings, measure_texture

NAMES = [c.name for c in TEXTURE_PARAMETERS]


def height_map(heights, pixel=0.5):
    scale = None if pixel is None else Calibration(pixel, pixel, 0.01, "stated")
    return HeightMap(heights, scale, Source("plate.sdf"), ("Opened with care.",))


def ground(shape=(240, 260), seed=1, gaps=0.02):
    """Grooves along the columns, tilted, with gaps; and the same without tilt and gaps."""
    noise = np.random.default_rng(seed).standard_normal((shape[0] + 200, shape[1] + 200)).astype(np.float32)
    z = cv2.GaussianBlur(noise, (0, 0), 2, sigmaY=15)[100:-100, 100:-100]
    z = 0.3 * (z - z.mean()) / z.std()
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    out = (z + 0.01 * x - 0.02 * y + 40).astype(np.float32)
    out[np.random.default_rng(seed + 1).random(shape) < gaps] = np.nan
    return out, z


def test_every_parameter_of_a_ground_surface():
    heights, flat = ground()
    result = measure_texture(height_map(heights))
    got = result.summary
    assert result.procedure == "texture"
    assert set(NAMES) <= set(got)
    assert all(got[name] is not None for name in NAMES)
    assert got["Sq_um"] == pytest.approx(0.3, rel=0.03)
    assert got["Sdq"] == pytest.approx(height_parameters(flat, pixel_size_um=(0.5, 0.5)).sdq, rel=0.02)
    assert abs(abs(got["Std_deg"]) - 90) < 3
    assert got["Str"] < 0.3
    assert (got["image_kind"], got["surface"], got["form"]) == ("heightmap", "S-F", "plane")
    assert "tilted" in got["form_text"]
    assert got["measured_fraction"] == pytest.approx(0.98, abs=0.005)
    assert got["region_area_px"] == 240 * 260
    assert got["region_area_mm2"] == pytest.approx(240 * 260 * 0.25e-6)
    assert result.tables == {}
    assert result.masks["region"].all()
    assert result.warnings[0] == "Opened with care."


def test_only_the_region_is_measured():
    heights, _ = ground()
    heights[:, 130:] = 500 + 50 * np.random.default_rng(3).random((240, 130))
    region = np.zeros(heights.shape, np.uint8)
    region[:, :130] = 255
    result = measure_texture(height_map(heights), region=region)
    assert result.summary["Sq_um"] == pytest.approx(0.3, rel=0.1)
    assert result.summary["region_area_px"] == 240 * 130
    np.testing.assert_array_equal(result.masks["region"], region > 0)


def test_without_a_scale_only_what_needs_none():
    heights, _ = ground()
    with_scale = measure_texture(height_map(heights), TextureSettings(form="plane")).summary
    result = measure_texture(height_map(heights, None), TextureSettings(form="plane"))
    lateral = {"Sdq", "Sdr", "Sal_um", "Str", "Std_deg"}
    assert {name for name in NAMES if result.summary[name] is None} == lateral
    for name in set(NAMES) - lateral:
        assert result.summary[name] == pytest.approx(with_scale[name], rel=1e-3), name
    assert result.summary["region_area_mm2"] is None
    assert any("No scale" in w for w in result.warnings)


def test_form_none_takes_off_the_mean_only():
    y, x = np.mgrid[:100, :120]
    got = measure_texture(height_map(x + 0.0 * y, 1.0), TextureSettings(form="none", spikes="keep")).summary
    assert got["Sz_um"] == pytest.approx(119)
    assert got["Sdr"] == pytest.approx(np.sqrt(2) - 1, rel=1e-5)
    assert (got["form"], got["Sp_um"]) == ("none", pytest.approx(59.5))


def test_spikes_are_not_measured():
    heights, _ = ground(gaps=0)
    heights[100, 100] += 400
    out, kept = (
        measure_texture(height_map(heights), TextureSettings(spikes=spikes)).summary
        for spikes in ("auto", "keep")
    )
    assert out["Sz_um"] < 5 < kept["Sz_um"]
    assert (out["spike_count"] >= 1, kept["spike_count"]) == (True, 0)


def test_flat_surface():
    result = measure_texture(height_map(np.full((60, 60), 2.5, np.float32)), TextureSettings(form="none"))
    assert result.summary["Sq_um"] == 0
    assert result.summary["Sk_um"] is None
    assert result.summary["Ssk"] is None
    assert any("flat" in w for w in result.warnings)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_what_is_left_of_a_plane_is_no_texture(dtype):
    y, x = np.mgrid[:100, :100]
    result = measure_texture(
        height_map((0.37 * x - 0.21 * y + 100).astype(dtype)), TextureSettings(form="plane")
    )
    assert any("rounding of their numbers" in w for w in result.warnings)
    heights, _ = ground()
    assert not any("rounding" in w for w in measure_texture(height_map(heights.astype(dtype))).warnings)


def test_lone_pixels_have_no_gradient():
    heights = np.full((60, 60), np.nan)
    heights[::2, ::2] = np.random.default_rng(1).random((30, 30))
    result = measure_texture(height_map(heights), TextureSettings(form="none", spikes="keep"))
    assert (result.summary["Sdq"], result.summary["Sdr"]) == (None, None)
    assert any("No four neighbouring" in w for w in result.warnings)
    assert any("25 %" in w for w in result.warnings)


def test_same_input_same_output():
    heights, _ = ground()
    assert measure_texture(height_map(heights)).summary == measure_texture(height_map(heights)).summary


def test_heights_are_left_as_they_were():
    heights, _ = ground()
    before = heights.copy()
    measure_texture(height_map(heights), TextureSettings(s_cutoff_um=2, l_cutoff_um=40))
    np.testing.assert_array_equal(heights, before)


def waves(size=400, pixel=0.5):
    """Waves of 4, 20 and 200 µm on a tilted plane, every tenth row not measured."""
    x = np.arange(size) * pixel
    row = np.sin(2 * np.pi * x / 4) + np.sin(2 * np.pi * x / 20) + np.cos(2 * np.pi * x / 200)
    z = row[None, :] + 0.3 * x[:, None]
    z[::10] = np.nan
    return z


@pytest.mark.parametrize(("l_filter", "near"), [("gaussian", 0.02), ("robust", 0.1)])
def test_filters_leave_the_wave_between_them(l_filter, near):
    """A Gaussian filter lets a wave L pass with 2^-(cut-off / L)²; the robust one is of second degree."""
    settings = TextureSettings(form="plane", s_cutoff_um=9, l_cutoff_um=60, l_filter=l_filter, spikes="keep")
    got = measure_texture(height_map(waves()), settings).summary
    assert got["surface"] == "S-L"
    assert (got["s_cutoff_um"], got["l_cutoff_um"]) == (9, 60)
    left = [2 ** -((9 / wave) ** 2) * (1 - 2 ** -((60 / wave) ** 2)) for wave in (4, 20, 200)]
    assert got["Sq_um"] == pytest.approx(np.sqrt(np.sum(np.square(left)) / 2), rel=near)
    whole = measure_texture(height_map(waves()), TextureSettings(form="plane", spikes="keep")).summary
    assert whole["surface"] == "S-F"
    assert whole["Sq_um"] > 1.1


def test_s_filter_halves_a_wave_of_its_cutoff():
    """ISO 16610-61: the cut-off is the wavelength of which half the amplitude is let through."""
    x = np.arange(600) * 0.5
    z = np.cos(2 * np.pi * x / 20)[None, :] * np.ones((300, 1))
    settings = TextureSettings(form="none", spikes="keep", s_cutoff_um=20)
    got = measure_texture(height_map(z), settings).summary
    assert got["Sq_um"] == pytest.approx(0.5 * np.sqrt(0.5), rel=0.02)
    assert got["surface"] == "S-F"


def test_s_filter_leaves_tilt_and_gaps_alone():
    """Normalised weights alone would bend a tilted plane at its edges and around gaps."""
    y, x = np.mgrid[:200, :200].astype(float)
    z = 5 * x - 3 * y
    z[50:80, 60:100] = np.nan
    got = measure_texture(height_map(z), TextureSettings(form="plane", spikes="keep", s_cutoff_um=10)).summary
    assert got["Sz_um"] < 1e-2
    assert got["measured_fraction"] == pytest.approx(1 - 1200 / 40000)


@pytest.mark.parametrize(
    ("settings", "pixel", "why"),
    [
        (TextureSettings(l_cutoff_um=50), None, "scale of the height map is unknown"),
        (TextureSettings(s_cutoff_um=50, l_cutoff_um=50), 0.5, "not below"),
        (TextureSettings(s_cutoff_um=0.9), 0.5, "shorter than 2 pixels"),
        (TextureSettings(l_cutoff_um=0.9), 0.5, "shorter than 2 pixels"),
    ],
)
def test_cutoffs_that_mean_nothing(settings, pixel, why):
    with pytest.raises(InputError, match=why):
        measure_texture(height_map(ground()[0], pixel), settings)


@pytest.mark.parametrize(
    ("settings", "why"),
    [
        (TextureSettings(s_cutoff_um=1.2), "less than 3 pixels"),
        (TextureSettings(l_cutoff_um=900), "longer than the field"),
    ],
)
def test_cutoffs_that_do_little(settings, why):
    assert any(why in w for w in measure_texture(height_map(ground()[0]), settings).warnings)


@pytest.mark.parametrize("how", ["empty", "masked"])
def test_too_little_measured(how):
    heights, _ = ground()
    region = None
    if how == "empty":
        heights[:] = np.nan
        heights[0, :50] = 1
    else:
        region = np.zeros(heights.shape, bool)
        region[:5, :5] = True
    with pytest.raises(InputError, match="fewer than 100"):
        measure_texture(height_map(heights), region=region)


def test_region_of_another_size():
    with pytest.raises(InputError, match="region mask is 5 x 5"):
        measure_texture(height_map(ground()[0]), region=np.ones((5, 5), bool))
