import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures import DegradedSettings, measure_degraded

SCALE = Calibration(0.5, 0.8, 0.01, "stated")


def micrograph(pixels, calibration=SCALE, warnings=()):
    return Micrograph(np.asarray(pixels), calibration, Source("plate.png"), warnings)


def plate(seed=1):
    """A plate of 240 x 320 px with one round dark patch of radius 50 px."""
    rows, cols = np.mgrid[:240, :320]
    true = np.hypot(rows - 110, cols - 150) < 50
    grey = cv2.GaussianBlur(np.where(true, 90.0, 170.0), (0, 0), 1.0)
    grey += np.random.default_rng(seed).normal(0, 5, grey.shape)
    return grey.clip(0, 255).astype(np.uint8), true


def with_strip(grey):
    grey = np.vstack([grey, np.zeros((30, 320), np.uint8)])
    cv2.putText(grey, "20 um", (20, 262), cv2.FONT_HERSHEY_SIMPLEX, 0.6, 255, 1)
    cv2.rectangle(grey, (120, 252), (200, 256), 255, -1)
    return grey


def test_fraction_interval_area_and_masks():
    grey, true = plate()
    result = measure_degraded(micrograph(grey, warnings=("from opening",)))
    summary = result.summary
    assert result.procedure == "degraded"
    assert summary["degraded_area_fraction"] == pytest.approx(true.mean(), rel=0.03)
    low, high = summary["degraded_area_fraction_ci95"]
    assert low <= true.mean() <= high
    assert summary["region_area_px"] == 240 * 320
    assert summary["region_area_mm2"] == pytest.approx(240 * 320 * 0.4e-6)
    assert summary["degraded_is"] == "darker"
    assert summary["told_apart_by"] == "grey"
    assert "tarnished_area_fraction" not in summary
    assert result.masks["degraded"].dtype == np.uint8
    assert np.mean(result.masks["degraded"] == 2) == summary["degraded_area_fraction"]
    assert result.masks["region"].all()
    assert result.warnings == ("from opening",)
    assert DegradedSettings(**result.settings) == DegradedSettings()


def test_without_a_scale_the_fraction_stands_and_the_area_does_not():
    grey, _ = plate()
    result = measure_degraded(micrograph(grey, None))
    assert result.summary["region_area_mm2"] is None
    assert result.summary["region_area_px"] == 240 * 320
    assert result.summary["degraded_area_fraction"] > 0
    assert any("No scale" in w for w in result.warnings)


def test_data_strip_is_left_out_unless_kept():
    grey, true = plate()
    result = measure_degraded(micrograph(with_strip(grey)))
    assert result.summary["region_area_px"] == 240 * 320
    assert result.summary["degraded_area_fraction"] == pytest.approx(true.mean(), rel=0.03)
    assert not result.masks["degraded"][240:].any()
    assert not result.masks["region"][240:].any()
    kept = measure_degraded(
        micrograph(with_strip(grey)), DegradedSettings(data_strip="keep", specimen_region="everything")
    )
    assert kept.summary["region_area_px"] == 270 * 320


def test_background_is_no_degraded_area():
    grey, true = plate()
    grey[:, -60:] = 8
    result = measure_degraded(micrograph(grey))
    assert "background" in result.summary["region_origin"]
    assert result.summary["degraded_area_fraction"] == pytest.approx(true.sum() / (240 * 260), rel=0.05)


def test_a_given_region_overrules():
    grey, true = plate()
    region = np.zeros(grey.shape, np.uint8)
    region[:, :150] = 255
    result = measure_degraded(micrograph(grey), region=region)
    assert result.summary["region_area_px"] == 240 * 150
    assert result.summary["degraded_area_fraction"] == pytest.approx(true[:, :150].mean(), rel=0.05)
    assert result.summary["region_origin"] == "given mask"


def test_a_region_of_another_size_is_refused():
    grey, _ = plate()
    with pytest.raises(InputError, match=r"plate\.png.*10 x 10.*240 x 320"):
        measure_degraded(micrograph(grey), region=np.ones((10, 10), bool))


def test_smallest_patch_in_um2_follows_the_scale():
    grey, _ = plate()
    grey[20:30, 20:30] = 90  # 100 px or 40 um2
    area = measure_degraded(micrograph(grey), DegradedSettings(min_patch_um2=60.0)).masks["degraded"]
    assert not area[15:35, 15:35].any()
    area = measure_degraded(micrograph(grey), DegradedSettings(min_patch_um2=20.0)).masks["degraded"]
    assert area[25, 25] == 2


def test_three_classes_fill_the_tarnished_fields():
    grey, _ = plate()
    rows, cols = np.mgrid[:240, :320]
    grey[np.hypot(rows - 110, cols - 260) < 40] = 130
    summary = measure_degraded(micrograph(grey), DegradedSettings(classes=3)).summary
    assert summary["tarnished_area_fraction"] == pytest.approx(np.pi * 40**2 / grey.size, rel=0.1)
    low, high = summary["tarnished_area_fraction_ci95"]
    assert low <= summary["tarnished_area_fraction"] <= high


def test_clipped_pixels_are_warned_of():
    grey, _ = plate()
    grey[grey > 165] = 255
    assert any("clipped to white" in w for w in measure_degraded(micrograph(grey)).warnings)


@pytest.mark.parametrize("level", [0, 140, 255])
def test_an_even_picture_gives_no_fraction_but_a_warning(level):
    result = measure_degraded(micrograph(np.full((60, 80), level, np.uint8)))
    assert result.summary["degraded_area_fraction"] is None
    assert result.summary["degraded_area_fraction_ci95"] is None
    assert not result.masks["degraded"].any()
    assert any("same grey" in w for w in result.warnings)


@pytest.mark.parametrize(
    "pixels",
    [np.zeros((1, 1), np.uint8), np.full((50, 60), np.nan, np.float32), np.zeros((5, 5, 3), np.uint8)],
)
def test_too_little_to_measure_is_refused(pixels):
    with pytest.raises(InputError, match=r"plate\.png.*fewer than 100"):
        measure_degraded(micrograph(pixels))


def test_unrecorded_pixels_are_left_out():
    grey, true = plate()
    pixels = grey.astype(np.float32)
    pixels[:, :40] = np.nan
    result = measure_degraded(micrograph(pixels))
    assert result.summary["region_area_px"] == 240 * 280
    assert result.summary["degraded_area_fraction"] == pytest.approx(true.sum() / (240 * 280), rel=0.05)
    assert any("held no value" in w for w in result.warnings)


@pytest.mark.parametrize("shape", [(11, 12), (12, 400), (20, 9000), (40, 40, 3)])
def test_odd_shapes_give_an_interval_of_some_width(shape):
    pixels = np.random.default_rng(4).integers(90, 160, shape).astype(np.uint8)
    summary = measure_degraded(micrograph(pixels)).summary
    low, high = summary["degraded_area_fraction_ci95"]
    assert 0.0 <= low <= summary["degraded_area_fraction"] <= high <= 1.0
    assert high > low


@pytest.mark.parametrize("shape", [(1, 400), (3, 2000), (900, 4)])
def test_a_field_of_a_few_lines_gives_no_fraction_but_a_warning(shape):
    pixels = np.random.default_rng(4).integers(90, 160, shape).astype(np.uint8)
    result = measure_degraded(micrograph(pixels))
    assert result.summary["degraded_area_fraction"] is None
    assert result.summary["degraded_area_fraction_ci95"] is None
    assert any("take a wider part" in w for w in result.warnings)


def test_greys_at_or_below_zero_are_refused():
    """As in `measure_pits`: where the mean grey is not above 0 there is nothing to divide by."""
    pixels = np.random.default_rng(1).normal(-5, 1, (80, 80)).astype(np.float32)
    with pytest.raises(InputError, match="mean grey"):
        measure_degraded(Micrograph(pixels, None, Source("dark.tif")))


def test_corrected_by_hand():
    """The fraction is that of the pixels; its interval is as wide as that of the map found."""
    grey, true = plate()
    found = measure_degraded(micrograph(grey))
    same = measure_degraded(micrograph(grey), corrected=found.masks["degraded"])
    for name, value in found.summary.items():
        assert same.summary[name] == pytest.approx(value), name
    assert same.summary["corrected_by_hand"] is True and "corrected_by_hand" not in found.summary
    assert same.warnings == found.warnings
    drawn = np.where(true, 2, 0)
    drawn[:40, :50] = 2
    again = measure_degraded(micrograph(grey), corrected=drawn)
    fraction = np.mean(drawn == 2)
    assert again.summary["degraded_area_fraction"] == fraction
    low, high = found.summary["degraded_area_fraction_ci95"]
    assert np.ptp(again.summary["degraded_area_fraction_ci95"]) == pytest.approx(high - low)
    np.testing.assert_array_equal(again.masks["degraded"], drawn)
    drawn[100:110] = 1
    tarnished = measure_degraded(micrograph(grey), corrected=drawn).summary
    assert tarnished["tarnished_area_fraction"] == np.mean(drawn == 1)
    assert tarnished["tarnished_area_fraction_ci95"] is None


def test_corrected_by_hand_where_nothing_could_be_told_apart():
    drawn = np.zeros((60, 60), int)
    drawn[:30] = 2
    result = measure_degraded(micrograph(np.full((60, 60), 120, np.uint8)), corrected=drawn)
    assert result.summary["degraded_area_fraction"] == 0.5
    assert result.summary["degraded_area_fraction_ci95"] is None


def test_a_corrected_mask_off_the_specimen_or_of_another_size():
    grey, _ = plate()
    image = micrograph(with_strip(grey))
    drawn = np.full(image.shape, 2)
    result = measure_degraded(image, corrected=drawn)
    assert result.summary["degraded_area_fraction"] == 1
    assert any("lie off the specimen" in text for text in result.warnings)
    with pytest.raises(InputError, match="corrected mask"):
        measure_degraded(image, corrected=drawn[:50])
