"""The pit procedure: what goes in, what comes out, and that the figures agree with one another."""

import subprocess
import sys

import cv2
import numpy as np
import pytest

from surfscan.columns import columns
from surfscan.errors import InputError
from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures import PitSettings, measure_pits

SCALE = Calibration(0.5, 0.5, 0.01, "stated")
SPOTS = ((50, 60, 12, 0.4), (60, 180, 9, 0.5), (150, 100, 15, 0.35), (170, 220, 6, 0.45), (120, 0, 10, 0.5))
SHAPE = (240, 300)


def micrograph(pixels, calibration=SCALE, warnings=()):
    return Micrograph(np.asarray(pixels), calibration, Source("plate.png"), warnings)


def as_grey(contrast, seed=1):
    """Grey picture of a contrast image, slightly uneven and noisy, uint8."""
    light = 180 * (1 - 0.2 * np.linspace(0, 1, contrast.shape[1]))
    noise = np.random.default_rng(seed).normal(0, 3, contrast.shape)
    return np.clip(np.rint(light * (1 - contrast) + noise), 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def grey(draw_discs):
    """Five pits, one of them cut by the left edge of the picture, and one scratch."""
    scratch = np.zeros(SHAPE, np.float32)
    cv2.line(scratch, (120, 10), (290, 100), 0.3, 2, cv2.LINE_AA)
    return as_grey(1 - (1 - draw_discs(SHAPE, SPOTS)) * (1 - scratch))


@pytest.fixture(scope="module")
def result(grey):
    return measure_pits(micrograph(grey, warnings=("from opening",)))


@pytest.fixture(scope="module")
def unscaled(grey):
    return measure_pits(micrograph(grey, None))


def assert_contract(result, shape):
    """Rows, labels, counts and areas agree, whatever was found."""
    pits, labels = result.tables["pits"], result.masks["pits"]
    assert set(result.masks) == {"pits", "for_review", "region"}
    assert all(mask.shape == shape for mask in result.masks.values())
    assert labels.dtype == result.masks["for_review"].dtype == np.int32
    assert result.masks["region"].dtype == bool
    for name in ("pits", "for_review"):
        table = result.tables[name]
        assert list(table) == [c.name for c in columns(name)]
        assert table["label"].tolist() == list(range(1, result.masks[name].max() + 1))
        assert table["area_px"].tolist() == np.bincount(result.masks[name].ravel())[1:].tolist()
    assert result.summary["pit_count"] == len(pits["label"])
    assert result.summary["for_review_count"] == len(result.tables["for_review"]["label"])
    assert result.summary["near_limit_count"] == np.count_nonzero(pits["near_limit"] != "")
    assert result.summary["total_pit_area_px"] == np.count_nonzero(labels)
    assert result.summary["field_area_px"] == np.count_nonzero(result.masks["region"])
    assert not labels[~result.masks["region"]].any()


def test_contract(result):
    """All known pits, each on its place; settings, source and warnings are passed on."""
    assert_contract(result, SHAPE)
    assert result.procedure == "pits" and result.source.path == "plate.png"
    assert result.calibration is SCALE
    assert result.warnings[0] == "from opening"
    assert PitSettings(**result.settings) == PitSettings()
    pits = result.tables["pits"]
    assert result.summary["pit_count"] == len(SPOTS)
    for row, col, radius, strength in SPOTS[:4]:
        own = result.masks["pits"][row, col] - 1
        assert own >= 0
        assert (pits["row_px"][own], pits["col_px"][own]) == pytest.approx((row, col), abs=0.3)
        assert pits["equivalent_diameter_um"][own] == pytest.approx(2 * radius * 0.5, rel=0.04)
        assert pits["contrast"][own] == pytest.approx(strength, abs=0.03)
        assert not pits["touches_image_border"][own] and pits["edge_weight"][own] > 1
    cut = result.masks["pits"][120, 0] - 1
    assert pits["touches_image_border"][cut] and pits["edge_weight"][cut] == 0


def test_scratch_is_in_the_list_for_review(result):
    """With its place, size and reason, and no columns that only pits have."""
    review = result.tables["for_review"]
    assert len(review["label"]) >= 1 and "crack-like" in review["reason"][0]
    assert review["aspect"].max() > 4
    assert "edge_weight" not in review


def test_figures_agree_with_the_table(result):
    """Sums, medians and the field, from the table's own columns."""
    pits, summary = result.tables["pits"], result.summary
    whole = ~pits["touches_image_border"]
    assert summary["field_area_mm2"] == pytest.approx(240 * 300 * 0.25e-6)
    assert summary["total_pit_area_um2"] == pytest.approx(pits["area_um2"].sum())
    assert summary["pitted_area_fraction"] == pytest.approx(pits["area_px"].sum() / (240 * 300))
    assert summary["median_equivalent_diameter_um"] == pytest.approx(
        np.median(pits["equivalent_diameter_um"][whole])
    )
    assert summary["mean_area_um2"] == pytest.approx(pits["area_um2"][whole].mean())
    assert summary["pit_density_per_mm2"] == pytest.approx(
        pits["edge_weight"].sum() / summary["field_area_mm2"]
    )
    for name in ("pit_density_per_mm2", "pitted_area_fraction"):
        low, high = summary[f"{name}_ci95"]
        assert 0 <= low < summary[name] < high
    assert summary["g46_density_class"] is not None and summary["g46_size_class"] is not None


def test_without_a_scale_pixels_stand_in(result, unscaled):
    """Nothing physical, its twins in pixels, the same count and fractions, and no density in mm."""
    assert_contract(unscaled, SHAPE)
    assert "No scale: sizes and the density are given in px only." in unscaled.warnings
    assert not any("No scale" in w for w in result.warnings)
    summary, pits = unscaled.summary, unscaled.tables["pits"]
    physical = [k for k in summary if k.endswith(("_um", "_um2", "_mm2")) or "per_mm2" in k or "g46" in k]
    assert len(physical) >= 8
    assert all(summary[k] is None for k in physical), physical
    for name in pits:
        if name.endswith(("_um", "_um2")):
            assert np.isnan(pits[name]).all(), name
    for name in ("equivalent_diameter", "perimeter", "length", "width", "nearest_pit"):
        np.testing.assert_allclose(pits[f"{name}_px"] * 0.5, result.tables["pits"][f"{name}_um"])
    assert summary["pit_count"] == result.summary["pit_count"]
    assert summary["pitted_area_fraction"] == pytest.approx(result.summary["pitted_area_fraction"])
    assert summary["pitted_area_fraction_ci95"] == pytest.approx(result.summary["pitted_area_fraction_ci95"])
    assert summary["median_equivalent_diameter_px"] * 0.5 == pytest.approx(
        result.summary["median_equivalent_diameter_um"]
    )
    assert summary["mean_area_px"] * 0.25 == pytest.approx(result.summary["mean_area_um2"])
    assert summary["smallest_diameter_px"] == 4.0
    per_mpx = summary["pit_density_per_mpx"]
    assert per_mpx == pytest.approx(pits["edge_weight"].sum() / 0.072)
    assert per_mpx == pytest.approx(result.summary["pit_density_per_mm2"] * 0.25)
    assert result.summary["pit_density_per_mpx"] is None
    assert result.summary["median_equivalent_diameter_px"] is None
    assert result.summary["mean_area_px"] is None


def test_pixels_that_are_not_square(grey):
    """Lengths along x and y by their own pixel sizes; areas by their product."""
    result = measure_pits(micrograph(grey, Calibration(0.5, 0.8, 0.01, "stated")))
    pits = result.tables["pits"]
    own = result.masks["pits"][150, 100] - 1
    assert pits["area_um2"][own] == pytest.approx(pits["area_px"][own] * 0.4)
    assert pits["length_um"][own] == pytest.approx(2 * 15 * 0.8, rel=0.04)
    assert pits["width_um"][own] == pytest.approx(2 * 15 * 0.5, rel=0.04)
    assert abs(pits["orientation_deg"][own]) == pytest.approx(90, abs=4)
    assert (pits["row_um"][own], pits["col_um"][own]) == pytest.approx((150 * 0.8, 100 * 0.5), abs=0.3)
    assert result.summary["field_area_mm2"] == pytest.approx(240 * 300 * 0.4e-6)
    assert result.summary["smallest_diameter_um"] == pytest.approx(4 * np.sqrt(0.4))


def test_smallest_diameter_in_micrometres(grey):
    """min_diameter_um is turned into pixels by the scale, and min_diameter_px stays a floor under it."""
    strict = measure_pits(micrograph(grey), PitSettings(min_diameter_um=10.0))
    assert strict.summary["smallest_diameter_um"] == 10.0 and strict.summary["smallest_diameter_px"] == 20.0
    assert strict.summary["pit_count"] == 2
    assert (strict.tables["pits"]["equivalent_diameter_um"] >= 10).all()
    finer = measure_pits(micrograph(grey), PitSettings(min_diameter_um=0.1))
    assert finer.summary["smallest_diameter_px"] == 4.0 and finer.summary["smallest_diameter_um"] == 2.0


def test_smallest_diameter_in_micrometres_needs_a_scale(grey):
    """Without a scale it cannot be applied: the limit in force is the one in pixels."""
    result = measure_pits(micrograph(grey, None), PitSettings(min_diameter_um=10.0))
    assert result.summary["smallest_diameter_um"] is None
    assert result.summary["smallest_diameter_px"] == 4.0
    assert any("min_diameter_um could not be applied" in w for w in result.warnings)


def test_settings_reach_the_finder(grey):
    """Contrast and contrast to noise, and the settings as used stand in the result."""
    strict = measure_pits(micrograph(grey), PitSettings(min_contrast=0.43))
    assert strict.summary["pit_count"] == 3 and strict.settings["min_contrast"] == 0.43
    noisy = measure_pits(micrograph(grey), PitSettings(min_contrast_to_noise=100.0))
    assert noisy.summary["pit_count"] == 0


def test_near_limit_pits_are_counted_and_warned_of(grey):
    """Where they are a fifth of all or more, the result says so."""
    result = measure_pits(micrograph(grey), PitSettings(min_diameter_px=11.0))
    assert_contract(result, SHAPE)
    assert result.summary["near_limit_count"] >= 1
    assert any("passed a limit by less than a quarter" in w for w in result.warnings)
    assert "diameter" in result.tables["pits"]["near_limit"]


def test_given_region_is_the_field(grey):
    """Only the region is searched, and it is what counts and fractions refer to."""
    region = np.zeros(SHAPE, np.uint8)
    region[:, :140] = 255
    result = measure_pits(micrograph(grey), region=region)
    assert_contract(result, SHAPE)
    assert result.summary["field_area_px"] == 240 * 140 and result.summary["pit_count"] == 3
    assert np.array_equal(result.masks["region"], region > 0)


def test_specimen_edge_is_no_frame_edge(grey):
    """A pit cut by the specimen's outline is whole for counting; one cut by the picture is not."""
    region = np.ones(SHAPE, bool)
    region[:, 185:] = False
    pits = measure_pits(micrograph(grey), region=region).tables["pits"]
    edge = pits["touches_specimen_edge"]
    assert np.count_nonzero(edge) == 1
    assert not pits["touches_image_border"][edge].any() and (pits["edge_weight"][edge] >= 1).all()


@pytest.mark.parametrize(
    "region, fault",
    [
        (np.ones((10, 10), bool), "10 x 10"),
        (np.ones((300, 240), bool), "300 x 240"),
        (np.zeros(SHAPE, bool), "marks no pixel"),
    ],
)
def test_region_that_does_not_fit_is_refused(grey, region, fault):
    """Wrong size, turned, or empty: said with the file's name."""
    with pytest.raises(InputError, match=fault) as caught:
        measure_pits(micrograph(grey), region=region)
    assert caught.value.path == "plate.png" and caught.value.remedy


@pytest.mark.parametrize("value", [0, 90, 255])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float32])
def test_blank_picture_is_refused(value, dtype):
    """One grey value, black, grey or white."""
    with pytest.raises(InputError, match="single grey value"):
        measure_pits(micrograph(np.full((80, 90), value, dtype)))


def test_grey_below_zero_is_refused(grey):
    """A picture from which a background was subtracted has no metal to compare with."""
    with pytest.raises(InputError, match="mean grey"):
        measure_pits(micrograph(grey.astype(np.float32) - 200))


@pytest.mark.parametrize("shape", [(1, 1), (8, 8), (1, 60), (0, 0), (9, 11)])
def test_picture_of_too_few_pixels_is_refused(shape):
    """Fewer than a hundred pixels cannot be defended."""
    with pytest.raises(InputError, match=r"pixels?\b"):
        measure_pits(micrograph(np.random.default_rng(1).integers(0, 256, shape).astype(np.uint8)))


@pytest.mark.parametrize("shape", [(10, 10), (1, 400), (400, 1), (5, 70), (65, 64)])
@pytest.mark.parametrize("levels", [2, 256])
def test_small_and_odd_pictures(shape, levels):
    """Whatever is found in noise, the result keeps the contract."""
    noise = np.random.default_rng(2).integers(0, levels, shape) * (255 // (levels - 1))
    assert_contract(measure_pits(micrograph(noise.astype(np.uint8))), shape)


def test_pixels_that_were_not_recorded(grey):
    """Not-a-number is left out of the field, with a warning, and hides no pit elsewhere."""
    pixels = grey.astype(np.float32)
    pixels[200:, :] = np.nan
    pixels[150, 100] = np.nan
    result = measure_pits(micrograph(pixels))
    assert_contract(result, SHAPE)
    assert result.summary["field_area_px"] == 200 * 300 - 1 and result.summary["pit_count"] == len(SPOTS)
    assert any("leaves out 12001 pixels" in w for w in result.warnings)
    with pytest.raises(InputError, match="0 pixels"):
        measure_pits(micrograph(np.full((80, 80), np.nan, np.float32)))


def test_data_strip_is_left_out(grey, result):
    """The same pits with a strip below as without; its pixels are no field."""
    strip = np.zeros((30, 300), np.uint8)
    cv2.putText(strip, "20 um", (20, 22), cv2.FONT_HERSHEY_SIMPLEX, 0.6, 255, 1)
    cv2.rectangle(strip, (120, 12), (200, 16), 255, -1)
    measured = measure_pits(micrograph(np.vstack([grey, strip])))
    assert_contract(measured, (270, 300))
    assert measured.summary["field_area_px"] == 240 * 300
    assert np.array_equal(measured.masks["pits"][:240], result.masks["pits"])
    assert measured.summary["pit_density_per_mm2"] == result.summary["pit_density_per_mm2"]
    kept = measure_pits(micrograph(np.vstack([grey, strip])), PitSettings(data_strip="keep"))
    assert kept.summary["field_area_px"] > 240 * 300


def test_strip_is_an_edge_of_the_counting_frame(draw_discs):
    """A pit cut by the data strip touches the frame, as one cut by the picture's edge does."""
    strip = np.zeros((30, 300), np.uint8)
    cv2.putText(strip, "20 um", (20, 22), cv2.FONT_HERSHEY_SIMPLEX, 0.6, 255, 1)
    cv2.rectangle(strip, (120, 12), (200, 16), 255, -1)
    cut = as_grey(draw_discs(SHAPE, [(239, 150, 12, 0.4), (100, 100, 10, 0.4)]))
    pits = measure_pits(micrograph(np.vstack([cut, strip]))).tables["pits"]
    assert sorted(pits["touches_image_border"].tolist()) == [False, True]
    assert pits["edge_weight"][pits["touches_image_border"]].tolist() == [0]


def test_bare_metal_gives_empty_tables_and_an_interval():
    """No pits is a result: density 0 with an upper limit, no class and no median."""
    result = measure_pits(micrograph(as_grey(np.zeros(SHAPE))))
    assert_contract(result, SHAPE)
    summary = result.summary
    assert summary["pit_count"] == summary["pit_density_per_mm2"] == summary["pitted_area_fraction"] == 0
    low, high = summary["pit_density_per_mm2_ci95"]
    assert low == 0 and high == pytest.approx(3.689 / summary["field_area_mm2"], rel=0.01)
    assert summary["median_equivalent_diameter_um"] is None and summary["mean_area_um2"] is None


def test_colour_is_measured_by_its_luminance(grey, result):
    """Grey stored as three equal channels gives the same pits."""
    colour = measure_pits(micrograph(np.repeat(grey[:, :, None], 3, axis=2)))
    assert np.array_equal(colour.masks["pits"], result.masks["pits"])


def test_lines_are_said_to_be_followed():
    """Where texture runs one way, the reader is told what that costs."""
    lines = np.tile(0.08 * np.random.default_rng(2).normal(0, 1, 300), (240, 1))
    result = measure_pits(micrograph(as_grey(cv2.GaussianBlur(lines, (0, 0), 1.0))))
    assert any("Texture runs one way" in w for w in result.warnings)
    assert result.summary["pit_count"] == 0


def test_same_picture_same_result(grey, result):
    """Bit for bit, tables, summary and masks; the picture is left as it was."""
    before = grey.copy()
    again = measure_pits(micrograph(grey, warnings=("from opening",)))
    assert again.summary == result.summary and again.warnings == result.warnings
    for name, mask in result.masks.items():
        assert np.array_equal(again.masks[name], mask)
    for name, table in result.tables.items():
        for column, values in table.items():
            np.testing.assert_array_equal(again.tables[name][column], values)
    assert np.array_equal(grey, before)


def test_runs_without_heavy_libraries():
    """Measuring loads neither tables, plots, scikit-image nor the slow parts of scipy."""
    code = (
        "import sys, numpy as np\n"
        "from surfscan.images import Calibration, Micrograph, Source\n"
        "from surfscan.procedures import measure_pits\n"
        "grey = np.random.default_rng(1).normal(180, 4, (120, 140)); grey[40:56, 50:66] = 60\n"
        "image = Micrograph(grey.astype(np.uint8), Calibration(1, 1, 0.01, 'stated'), Source('a.png'))\n"
        "assert measure_pits(image).summary['pit_count'] == 1\n"
        "print(' '.join(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    heavy = {"pandas", "matplotlib", "skimage", "lmfit", "scipy.ndimage", "scipy.stats", "scipy.optimize"}
    assert heavy & set(done.stdout.split()) == set()


def test_no_pit_has_no_area_interval_and_says_so():
    """The fraction is 0 without an interval, with a warning; the density keeps its interval."""
    even = np.random.default_rng(7).normal(170, 3, SHAPE).clip(0, 255).astype(np.uint8)
    result = measure_pits(micrograph(even))
    assert result.summary["pit_count"] == 0 and result.summary["pitted_area_fraction"] == 0
    assert result.summary["pitted_area_fraction_ci95"] is None
    assert result.summary["pit_density_per_mm2_ci95"][0] == 0 < result.summary["pit_density_per_mm2_ci95"][1]
    assert any("pitted area fraction has no interval" in w for w in result.warnings)


@pytest.mark.parametrize("radius", [75, 90, 100])
def test_a_pit_over_a_quarter_of_the_field_is_found(radius):
    """It is neither taken for uneven light nor for the specimen, and hides no small pit."""
    rows, cols = np.mgrid[:300, :300]
    grey = np.where(np.hypot(rows - 150, cols - 150) < radius, 60.0, 170.0)
    grey[np.hypot(rows - 20, cols - 20) < 6] = 60
    grey = cv2.GaussianBlur(grey + np.random.default_rng(8).normal(0, 3, grey.shape), (0, 0), 1)
    result = measure_pits(micrograph(grey.clip(0, 255).astype(np.uint8)))
    areas = np.sort(result.tables["pits"]["area_px"])
    assert len(areas) == 2
    assert areas[1] == pytest.approx(np.pi * radius**2, rel=0.02)


def test_wide_bright_areas_are_said():
    """Where the darker half was taken for metal, the reader is told what that would mean."""
    away = np.hypot(*np.mgrid[-100:100, -100:100])
    noise = np.random.default_rng(2).normal(0, 2, away.shape)
    grey = np.clip(np.where(away < 80, 90, 170) + noise, 0, 255).astype(np.uint8)
    warnings = " ".join(measure_pits(micrograph(grey)).warnings)
    assert "clearly brighter than what was taken for metal" in warnings


def test_where_the_region_comes_from_is_told(result):
    """As in the result for degraded area."""
    assert result.summary["region_origin"]


def test_corrected_by_hand_as_found_keeps_every_figure(grey, result):
    """Labels in any order and with gaps; only what was listed for review is gone, and it says so."""
    given = np.where(result.masks["pits"] > 0, 10 * result.masks["pits"].astype(np.int64) + 3, 0)
    again = measure_pits(micrograph(grey, warnings=("from opening",)), corrected=given)
    assert_contract(again, SHAPE)
    for name, values in result.tables["pits"].items():
        np.testing.assert_array_equal(again.tables["pits"][name], values, name)
    differ = {k for k in again.summary if again.summary[k] != result.summary.get(k)}
    assert differ == {"for_review_count", "corrected_by_hand"} and again.summary["corrected_by_hand"] is True
    assert "corrected_by_hand" not in result.summary
    assert len(again.tables["for_review"]["label"]) == 0 and not again.masks["for_review"].any()
    np.testing.assert_array_equal(again.masks["pits"], result.masks["pits"])


def test_corrected_by_hand_measures_what_was_drawn(grey, result):
    """A pit that was missed, one rejected, one redrawn: rows in order of the labels, contrast on each."""
    drawn = result.masks["pits"].astype(np.int32) + (result.masks["pits"] > 0)
    rejected = drawn[150, 100]
    drawn[drawn == rejected] = 0
    rows, cols = np.mgrid[: SHAPE[0], : SHAPE[1]]
    drawn[(rows - 150) ** 2 + (cols - 100) ** 2 <= 15**2] = 1
    again = measure_pits(micrograph(grey), corrected=drawn)
    assert_contract(again, SHAPE)
    pits = again.tables["pits"]
    assert again.masks["pits"][150, 100] == 1 and len(pits["label"]) == len(SPOTS)
    assert pits["contrast"][0] == pytest.approx(0.35, abs=0.03)
    assert pits["area_px"][0] == pytest.approx(np.pi * 15**2, rel=0.02)


def test_corrected_by_hand_to_nothing(grey):
    again = measure_pits(micrograph(grey), corrected=np.zeros(SHAPE, np.uint8))
    assert again.summary["pit_count"] == 0 and again.summary["pit_density_per_mm2"] == 0
    assert again.summary["pitted_area_fraction_ci95"] is None
    assert any("No pit was found" in text for text in again.warnings)


def test_corrected_by_hand_off_the_specimen(grey):
    """With a data strip and a region: only what lies on the specimen counts."""
    strip = np.zeros((30, SHAPE[1]), np.uint8)
    cv2.putText(strip, "20 um", (20, 22), cv2.FONT_HERSHEY_SIMPLEX, 0.6, 255, 1)
    cv2.rectangle(strip, (120, 12), (200, 16), 255, -1)
    whole = np.vstack([grey, strip])
    drawn = np.zeros(whole.shape, np.int32)
    drawn[40:50, 40:50], drawn[250:260, 30:40] = 1, 2
    again = measure_pits(micrograph(whole), corrected=drawn)
    assert_contract(again, whole.shape)
    assert again.summary["pit_count"] == 1
    assert any("100 px of the corrected outlines" in text for text in again.warnings)


def test_a_corrected_mask_that_does_not_fit(grey):
    with pytest.raises(InputError, match="corrected mask is 10 x 10"):
        measure_pits(micrograph(grey), corrected=np.zeros((10, 10), int))
