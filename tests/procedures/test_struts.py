"""Struts of whole pictures: figures, losses against drawing and picture before, and clear refusals."""

import math

import cv2
import numpy as np
import pytest

from surfscan.columns import columns
from surfscan.errors import InputError
from surfscan.images import Calibration, HeightMap, Micrograph, Source
from surfscan.procedures import StrutSettings, measure_struts

SCALE = Calibration(0.5, 0.5, 0.005, "stated")


def micrograph(coverage, scale=SCALE, *, blur=1.0, noise=3.0, name="mesh.png"):
    """Dark struts (share covered, 0 to 1) on a light ground."""
    grey = cv2.GaussianBlur(200 - 160 * coverage.astype(np.float32), (0, 0), blur)
    grey += np.random.default_rng(0).normal(0, noise, grey.shape).astype(np.float32)
    return Micrograph(np.clip(np.round(grey), 0, 255).astype(np.uint8), scale, Source(name))


def draw(struts, shape=(360, 480)):
    """Share of every pixel covered by straight struts (row0, col0, row1, col1, width)."""
    finer = 4
    rows, cols = np.mgrid[: shape[0] * finer, : shape[1] * finer]
    rows, cols = (rows + 0.5) / finer - 0.5, (cols + 0.5) / finer - 0.5
    metal = np.zeros(rows.shape, bool)
    for row0, col0, row1, col1, width in struts:
        length = math.hypot(row1 - row0, col1 - col0)
        along = ((rows - row0) * (row1 - row0) + (cols - col0) * (col1 - col0)) / length
        across = ((cols - col0) * (row1 - row0) - (rows - row0) * (col1 - col0)) / length
        metal |= (abs(across) <= width / 2) & (along >= 0) & (along <= length)
    return metal.reshape(shape[0], finer, shape[1], finer).mean(axis=(1, 3))


# An irregular mesh: no turn or shift repeats it.
RAILS = [(70, -20, 90, 500, 26.0), (280, -20, 260, 500, 22.0)]
RUNGS = [
    (75, 70, 278, 95, 20.0),
    (80, 190, 272, 170, 24.0),
    (84, 300, 268, 330, 18.0),
    (88, 420, 264, 410, 22.0),
]


def thinner(struts, loss):
    return [(*s[:4], s[4] - loss) for s in struts]


@pytest.fixture(scope="module")
def whole():
    return micrograph(draw(RAILS + RUNGS))


@pytest.fixture(scope="module")
def attacked(whole):
    """Four px gone from every width, the third rung missing, turned by 3 degrees."""
    cover = draw(thinner([*RAILS, RUNGS[0], RUNGS[1], RUNGS[3]], 4.0))
    matrix = cv2.getRotationMatrix2D((239.5, 179.5), 3, 1.0)
    turned = cv2.warpAffine(cover, matrix, (480, 360), borderMode=cv2.BORDER_REPLICATE)
    return micrograph(turned, name="after.png")


def test_single_strut_against_its_drawing():
    """150 µm losing 10 µm a side: 0.867 by width alone, 0.751 with equal loss all round, at every station."""
    picture = micrograph(draw([(180, -20, 180, 500, 260.0)]), Calibration(0.5, 0.5, 0.002, "stated"))
    result = measure_struts(picture, StrutSettings(drawn_width_um=150, drawn_thickness_um=150))
    summary = result.summary
    assert summary["strut_count"] == 1
    assert summary["mean_width_um"] == pytest.approx(130, abs=0.15)
    low, high = summary["mean_width_um_ci95"]
    assert low < 130 < high
    assert high - low == pytest.approx(2 * 1.96 * 0.002 * 130, rel=0.1)
    assert summary["loss_fraction"] == pytest.approx(2 / 15, abs=1.5e-3)
    assert summary["loss_against"] == "drawn"
    assert summary["mean_section_fraction"] == pytest.approx(0.867, abs=2e-3)
    assert summary["mean_section_equal_loss_fraction"] == pytest.approx(0.751, abs=3e-3)
    assert "upper bound" in summary["section_basis"]
    assert any("upper bounds" in w for w in result.warnings)
    struts = result.tables["struts"]
    assert struts["leaves_field"][0]
    assert not struts["broken"][0]
    assert struts["min_width_um"][0] <= struts["p05_width_um"][0] <= struts["mean_width_um"][0]


def test_tables_hold_what_is_registered(whole):
    """Columns, dtypes, and one table for faults even where there are none."""
    result = measure_struts(whole)
    for name in ("struts", "stations", "strut_faults"):
        assert list(result.tables[name]) == [c.name for c in columns(name)]
    struts, stations = result.tables["struts"], result.tables["stations"]
    assert set(stations["strut"]) == set(struts["strut"])
    assert (np.diff(stations["s_um"])[np.diff(stations["strut"]) == 0] <= 1.5 + 1e-6).all()
    assert result.summary["broken_count"] == result.summary["fragment_count"] == 0
    assert result.summary["missing_count"] is None


def test_every_strut_of_a_mesh_has_its_width(whole):
    """Rungs between rails, each within half a px (0.25 µm) of its drawn width."""
    struts = measure_struts(whole).tables["struts"]
    rungs = ~struts["leaves_field"] & (abs(struts["row_px"] - 177) < 30)
    order = np.argsort(struts["col_px"][rungs])
    assert struts["mean_width_um"][rungs][order] == pytest.approx([10, 12, 9, 11], abs=0.25)


def test_before_and_after(whole, attacked):
    """Turn found again; loss of every strut; the missing rung as zero width beside the survivors."""
    settings = StrutSettings(drawn_thickness_um=12, before_max_rotation_deg=30, before_max_shift_fraction=0.1)
    result = measure_struts(attacked, settings, before=whole)
    summary, struts = result.summary, result.tables["struts"]
    assert summary["registration_rotation_deg"] == pytest.approx(3, abs=0.1)
    assert summary["missing_count"] == 1
    assert list(struts["condition"]).count("missing") == 1
    gone = int(np.flatnonzero(struts["condition"] == "missing")[0])
    assert struts["mean_width_um"][gone] == 0
    assert struts["loss_fraction"][gone] == 1
    assert struts["reference_width_um"][gone] == pytest.approx(9, abs=0.25)
    found = np.isfinite(struts["loss_fraction"]) & (struts["condition"] != "missing")
    loss = 2.0 / struts["reference_width_um"][found]  # 4 px of 0.5 µm
    assert struts["loss_fraction"][found] == pytest.approx(loss, abs=0.02)
    assert set(struts["loss_against"][found]) == {"before"}
    assert summary["loss_with_lost_fraction"] > summary["loss_of_survivors_fraction"] + 0.05
    assert summary["mean_width_with_lost_um"] < summary["mean_width_of_survivors_um"]
    assert summary["lost_metal_from"] == "picture before"
    assert summary["section_with_lost_fraction"] < summary["mean_section_fraction"]
    faults = result.tables["strut_faults"]
    assert list(faults["kind"]).count("missing") == 1
    assert faults["strut"][faults["kind"] == "missing"][0] == struts["strut"][gone]
    stations = result.tables["stations"]
    both = np.isfinite(stations["width_before_um"]) & np.isfinite(stations["width_um"])
    difference = stations["width_before_um"][both] - stations["width_um"][both]
    assert np.median(difference) == pytest.approx(2.0, abs=0.1)


def test_another_part_is_not_compared(whole):
    """A picture of something else: no loss, and a warning that says so."""
    other = micrograph(draw([(40, -20, 200, 500, 30.0), (330, -20, 20, 500, 28.0)]), name="other.png")
    result = measure_struts(whole, before=other)
    assert result.summary["loss_fraction"] is None
    assert result.summary["missing_count"] is None
    assert any("Nothing is compared with other.png" in w for w in result.warnings)


def test_without_a_scale_px(whole):
    """Figures in px, µm None, and a warning; drawn sizes cannot be used."""
    picture = Micrograph(whole.pixels, None, whole.source)
    result = measure_struts(picture, StrutSettings(drawn_width_um=12))
    summary = result.summary
    assert summary["mean_width_um"] is None
    assert 15 < summary["mean_width_px"] < 26
    assert summary["mean_width_px_ci95"][0] < summary["mean_width_px"]
    assert summary["loss_fraction"] is None
    assert any(w.startswith("No scale") for w in result.warnings)
    assert np.isnan(result.tables["struts"]["mean_width_um"]).all()


def test_scale_widens_the_interval(whole):
    """The interval in µm holds the scale, that in px does not."""
    summary = measure_struts(whole).summary
    um, px = (np.ptp(summary[f"mean_width_{u}_ci95"]) / summary[f"mean_width_{u}"] for u in ("um", "px"))
    assert um > 2 * 1.96 * 0.005
    assert px < um


def test_measured_thickness_is_no_upper_bound(whole):
    """Width times measured thickness over what was drawn."""
    settings = StrutSettings(
        drawn_width_um=12, drawn_thickness_um=12, thickness_um=9, thickness_uncertainty_um=0.2
    )
    result = measure_struts(whole, settings)
    assert result.summary["section_basis"] == "measured thickness"
    struts = result.tables["struts"]
    known = np.isfinite(struts["mean_section_fraction"])
    assert struts["mean_section_fraction"][known] == pytest.approx(
        struts["mean_width_um"][known] * 9 / 144, rel=1e-6
    )


def test_thickness_from_a_side_view():
    """A view across of 90 µm: the section is no upper bound, and its interval holds that measurement."""
    scale = Calibration(0.5, 0.5, 0.002, "stated")
    above = micrograph(draw([(180, -20, 180, 500, 260.0)]), scale)
    side = micrograph(draw([(180, -20, 180, 500, 180.0)]), scale, name="side.png")
    settings = StrutSettings(drawn_width_um=150, drawn_thickness_um=100)
    result = measure_struts(above, settings, side_view=side)
    assert result.summary["thickness_um"] == pytest.approx(90, abs=0.1)
    assert result.summary["section_basis"] == "measured thickness"
    assert result.summary["mean_section_fraction"] == pytest.approx(130 * 90 / 15000, abs=3e-3)
    blank = Micrograph(np.full((100, 100), 90, np.uint8), scale, Source("blank.png"))
    result = measure_struts(above, settings, side_view=blank)
    assert "upper bound" in result.summary["section_basis"]
    assert any("No thickness is taken from blank.png" in w for w in result.warnings)


def test_labels_follow_the_struts(whole):
    """Every metal pixel has the number of a strut, and the middle of a strut has its own."""
    result = measure_struts(whole)
    labels, struts = result.masks["struts"], result.tables["struts"]
    assert labels.dtype == np.int32
    for k in range(len(struts["strut"])):
        if not struts["leaves_field"][k]:
            assert labels[round(struts["row_px"][k]), round(struts["col_px"][k])] == struts["strut"][k]


@pytest.mark.parametrize("what", ["even", "texture", "one edge"])
def test_no_strut(what):
    """An even field, a textured field and a strut wider than the field: counts of 0 and a reason."""
    if what == "one edge":
        cover = np.zeros((200, 300))
        cover[:, 120:] = 1.0
        picture = micrograph(cover)
    else:
        noise = np.random.default_rng(1).normal(0, 0.0 if what == "even" else 12, (200, 300))
        picture = Micrograph(np.clip(128 + noise, 0, 255).astype(np.uint8), SCALE, Source("x.png"))
    result = measure_struts(picture)
    assert result.summary["mean_width_um"] is None
    if what != "one edge":
        assert result.summary["strut_count"] == 0
    assert any("strut" in w and ("field" in w or "No strut" in w) for w in result.warnings)


def test_region_and_settings_that_do_not_fit(whole):
    """A mask of another size, and a trapezoid without its sizes."""
    with pytest.raises(InputError, match="mask"):
        measure_struts(whole, region=np.ones((10, 10)))
    with pytest.raises(InputError, match="trapezoid"):
        measure_struts(whole, StrutSettings(drawn_shape="trapezoid"))
    with pytest.raises(InputError, match="trapezoid"):
        measure_struts(whole, StrutSettings(drawn_top_width_um=5))


def test_same_answer_every_time(whole):
    """Bit for bit."""
    first, again = (measure_struts(whole) for _ in range(2))
    for name, table in first.tables.items():
        for column, values in table.items():
            assert np.array_equal(values, again.tables[name][column], equal_nan=values.dtype.kind == "f")


def test_a_scale_bar_over_a_strut_breaks_nothing(whole):
    """What is drawn over the picture is left out: no break, no wrong width beside it."""
    pixels = whole.pixels.copy()
    box = (150, 190, 60, 130)
    pixels[box[0] : box[1], box[2] : box[3]] = 255
    result = measure_struts(Micrograph(pixels, SCALE, whole.source, overlays=(box,)))
    assert result.summary["broken_count"] == result.summary["fragment_count"] == 0
    assert not len(result.tables["strut_faults"]["kind"])
    assert not result.masks["region"][box[0] : box[1], box[2] : box[3]].any()
    struts = result.tables["struts"]
    cut = (
        (abs(struts["col_px"] - 82) < 14)
        & (abs(struts["row_px"] - 177) < 90)
        & ~np.isnan(struts["mean_width_um"])
    )
    assert cut.any()
    assert struts["mean_width_um"][cut] == pytest.approx(10, abs=0.25)


def on_a_stage(thickness_um):
    """Height map of a strut 60 px wide on a tilted stage."""
    row, col = np.mgrid[:160, :220].astype(float)
    heights = np.where(np.abs(row - 80) < 30, thickness_um, 0.0) + 0.05 * row - 0.02 * col
    heights += np.random.default_rng(0).normal(0, 0.2, heights.shape)
    return HeightMap(heights, Calibration(1.0, 1.0, 0.01, "stated"), Source("lying.npy"))


def test_thickness_from_a_height_map():
    """A strut 90 µm thick: taken for the setting, with what the setting says of other uncertainties added."""
    scale = Calibration(0.5, 0.5, 0.002, "stated")
    above = micrograph(draw([(180, -20, 180, 500, 260.0)]), scale)
    settings = StrutSettings(drawn_width_um=150, drawn_thickness_um=100, thickness_um=50)
    result = measure_struts(above, settings, thickness_map=on_a_stage(90.0))
    assert result.summary["thickness_um"] == pytest.approx(90, abs=0.1)
    assert result.summary["section_basis"] == "measured thickness"
    assert result.summary["mean_section_fraction"] == pytest.approx(130 * 90 / 15000, abs=3e-3)
    low, high = result.summary["least_section_fraction_ci95"]
    doubtful = settings.model_copy(update={"thickness_uncertainty_um": 10.0})
    wider = measure_struts(above, doubtful, thickness_map=on_a_stage(90.0))
    assert np.ptp(wider.summary["least_section_fraction_ci95"]) > 3 * (high - low)


def test_a_map_without_a_strut_gives_no_thickness_and_says_so(whole):
    """The file, what is wrong with it and what to do are named; the setting is left as it was."""
    settings = StrutSettings(drawn_width_um=12, drawn_thickness_um=12)
    result = measure_struts(whole, settings, thickness_map=on_a_stage(0.0))
    assert "upper bound" in result.summary["section_basis"]
    (said,) = (w for w in result.warnings if "lying.npy" in w)
    assert "No step was found" in said
    assert "Take a height map" in said


def test_two_sources_of_thickness_are_refused(whole):
    with pytest.raises(InputError, match=r"lying\.npy.*Give one of the two"):
        measure_struts(whole, side_view=whole, thickness_map=on_a_stage(90.0))


def test_a_trapezoid_that_cannot_be(whole):
    """Flanks flatter than 60 degrees are refused in words, and so are sizes without end."""
    flat = StrutSettings(
        drawn_shape="trapezoid", drawn_width_um=400, drawn_thickness_um=20, drawn_top_width_um=1
    )
    with pytest.raises(InputError, match="84 degrees"):
        measure_struts(whole, flat)
    with pytest.raises(ValueError, match="finite"):
        StrutSettings(drawn_width_um=math.inf)


def test_a_stated_polarity_that_finds_nothing_is_named(whole):
    cover = draw([(-20, 240, 400, 240, 60.0)])
    result = measure_struts(micrograph(cover), StrutSettings(polarity="light"))
    assert result.summary["strut_count"] == 0
    assert any("stated to be light" in text for text in result.warnings)


def test_sections_without_a_drawn_thickness():
    """In µm², the least one too."""
    picture = micrograph(draw([(180, -20, 180, 520, 40.0)]))
    result = measure_struts(picture, StrutSettings(drawn_width_um=22, thickness_um=10))
    struts = result.tables["struts"]
    assert struts["least_section_area_um2"][0] == pytest.approx(10 * struts["min_width_um"][0])
    assert np.isnan(struts["least_section_fraction"][0])
    assert any("none is drawn" in text for text in result.warnings)


def test_more_section_than_drawn_is_doubted():
    picture = micrograph(draw([(180, -20, 180, 520, 40.0)]))
    thick = measure_struts(picture, StrutSettings(drawn_width_um=18.5, drawn_thickness_um=10))
    assert any("more section than before" in text for text in thick.warnings)
    true = measure_struts(picture, StrutSettings(drawn_width_um=20, drawn_thickness_um=10))
    assert not any("more section" in text for text in true.warnings)


def test_the_scale_between_pictures_comes_from_centrelines(whole):
    """Without pixel sizes, uniform loss is no shrinkage."""
    cover = draw(thinner(RAILS + RUNGS, 4.0))
    found = measure_struts(
        micrograph(cover, None),
        StrutSettings(before_max_rotation_deg=20, before_max_shift_fraction=0.1),
        before=Micrograph(whole.pixels, None, whole.source),
    )
    assert found.summary["registration_scale"] == pytest.approx(1, abs=3e-4)
    struts = found.tables["struts"]
    known = np.isfinite(struts["loss_fraction"])
    width = struts["reference_width_px"][known]
    true = 4 / width
    assert (struts["loss_fraction_ci95_low"][known] <= true).all()
    assert (true <= struts["loss_fraction_ci95_high"][known]).all()
    assert np.isfinite(found.tables["stations"]["width_before_px"]).any()
    half = struts["loss_fraction_ci95_high"][known] - struts["loss_fraction"][known]
    assert (half * width > 0.05).all()  # two pictures share neither focus nor light


def test_stubs_at_the_frame_are_put_apart():
    """And the least width of a broken strut's stub is named beside that of the whole ones."""
    cover = draw([*RAILS, (70, 100, 280, 100, 20.0), (70, 320, 150, 320, 14.0), (-20, 200, 60, 200, 20.0)])
    cover[: cover.shape[0] - 60] = cover[60:].copy()
    result = measure_struts(micrograph(cover[:280]))
    text = " ".join(result.warnings)
    assert "The frame cuts" in text
    assert result.summary["min_width_condition"] == "broken"
    assert "a broken one; of the whole ones it is" in text
