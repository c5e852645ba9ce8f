"""The demo's height maps: made by the script, of the surfaces that the micrographs show, in open formats."""

from collections import defaultdict
from pathlib import Path

import cv2
import heights
import make_demo
import numpy as np
import pytest
from specimens import specimens
from surfaces import paint

from surfscan.images import HeightMap
from surfscan.opening import open_image, open_mask

HERE = Path(make_demo.__file__).parent
MAPS = {name: field for field, name in make_demo.height_fields()}


def stored(name: str) -> HeightMap:
    """A height map of the demo as surfscan opens it."""
    opened = open_image(HERE / "heights" / name)
    assert isinstance(opened, HeightMap)
    return opened


@pytest.mark.parametrize("name", ["C00-2_h.x3p", "C07-1_h.sdf", "S28-2_h.ome.tif"])
def test_script_gives_the_stored_map(name):
    """Other processors round the last bit otherwise, so one step in few points may differ."""
    field, opened = MAPS[name], stored(name)
    made = heights.measure(field).heights_um
    assert np.array_equal(np.isnan(made), np.isnan(opened.heights_um))
    difference = np.abs(made - opened.heights_um)
    assert np.nanmax(difference) < 1.01 * make_demo.HEIGHT_STEP_UM
    assert np.nanmean(difference > 0.501 * make_demo.HEIGHT_STEP_UM) < 1e-3
    assert opened.calibration.pixel_size_x_um == pytest.approx(field.pixel_size_um, rel=1e-6)


def test_same_run_gives_the_same_bytes(tmp_path):
    for name in ("U07-1_h.x3p", "C07-2_h.sdf"):
        for folder in (tmp_path / "a", tmp_path / "b"):
            folder.mkdir(exist_ok=True)
            make_demo.write_map(folder, name, MAPS[name], heights.measure(MAPS[name]))
    made = sorted(path.name for path in (tmp_path / "a").iterdir())
    assert made == ["C07-2_h.sdf", "C07-2_h_datum.png", "U07-1_h.x3p", "U07-1_h_unexposed.x3p"]
    for name in made:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_every_specimen_has_its_map_and_every_format_occurs():
    assert {name[:5] for name in MAPS} == {s.id for s in specimens()}
    assert {name.partition(".")[2] for name in MAPS} == {"x3p", "sdf", "ome.tif"}
    for name, field in MAPS.items():
        opened = stored(name)
        assert opened.shape == field.shape
        assert 0.015 < np.isnan(opened.heights_um).mean() < 0.05
    assert any(field.round_top for field in MAPS.values())


def test_blocks_for_extreme_values_are_of_equal_area_and_do_not_overlap():
    blocks = defaultdict(list)
    for name, field in MAPS.items():
        if name.startswith("U28"):
            blocks[name[:5]].append(field)
    assert [len(own) for own in blocks.values()] == [5, 5, 5]
    for own in blocks.values():
        areas = [f.shape[0] * f.shape[1] * f.pixel_size_um**2 for f in own]
        assert areas == pytest.approx([areas[0]] * 5, rel=1e-9)
        covered = defaultdict(lambda: np.zeros(make_demo.SHAPE, int))
        for f in own:
            covered[f.picture.letter][f.top : f.top + f.shape[0], f.left : f.left + f.shape[1]] += 1
        assert sum(c.sum() for c in covered.values()) == sum(f.shape[0] * f.shape[1] for f in own)
        assert max(c.max() for c in covered.values()) == 1


@pytest.mark.parametrize("name", ["U28-3_h1.x3p", "U28-1_h5.x3p", "C14-2_h.x3p"])
def test_pits_lie_where_the_micrograph_shows_them(name):
    """Points deep below a fitted plane or arch are dark in the picture, and no other shift does better."""
    field = MAPS[name]
    picture = paint(field.picture)[0]
    grey = picture if picture.ndim == 2 else cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    z = stored(name).heights_um
    smooth = cv2.medianBlur(np.nan_to_num(z, nan=float(np.nanmedian(z))).astype(np.float32), 5)
    y, x = np.mgrid[-1 : 1 : z.shape[0] * 1j, -1 : 1 : z.shape[1] * 1j]
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], -1).reshape(-1, 6)
    form = terms @ np.linalg.lstsq(terms, smooth.ravel(), rcond=None)[0]
    depth = np.clip(form.reshape(z.shape) - smooth, 0, None)

    def agreement(down: int, right: int) -> float:
        top, left = field.top + down, field.left + right
        window = grey[top : top + z.shape[0], left : left + z.shape[1]].astype(float)
        return float(np.corrcoef(depth.ravel(), -window.ravel())[0, 1])

    here = agreement(0, 0)
    assert here > 0.3
    assert all(agreement(r, c) < here for r in (-6, 0, 6) for c in (-6, 0, 6) if (r, c) != (0, 0))


def test_original_level_is_the_loss_above_the_mean_of_what_corroded():
    """Where the original level is known, the mean penetration of the map is the specimen's loss."""
    for name in ("C07-2_h.sdf", "U07-1_h.x3p"):
        field = MAPS[name]
        truth = heights.measure(field).truth
        assert truth["mean_penetration_um"] == pytest.approx(field.specimen.loss_um)
        assert truth["max_penetration_um"] > truth["mean_penetration_um"] + truth["max_depth_um"] / 2
    z = stored("C07-2_h.sdf").heights_um
    datum = open_mask(HERE / "heights" / "C07-2_h_datum.png", z.shape)
    assert datum.mean() == pytest.approx(heights.STRIPE_SHARE, abs=0.01)
    before, after = stored("U07-1_h_unexposed.x3p").heights_um, stored("U07-1_h.x3p").heights_um
    lost = np.nanmean(before - after)
    assert lost == pytest.approx(MAPS["U07-1_h.x3p"].specimen.loss_um, rel=0.01)


def test_deeper_and_rougher_with_the_loss():
    by_loss = sorted(specimens(), key=lambda s: s.loss_um)
    for figure in (heights.roughness_um, heights.depth_to_radius):
        values = [figure(s) for s in by_loss]
        assert values == sorted(values) and values[-1] > 1.5 * values[0]


def test_true_depths_are_possible():
    for name in ("U00-3_h.x3p", "U14-1_h.x3p", "U28-2_h2.x3p"):
        truth = heights.measure(MAPS[name]).truth
        if truth["pit_count"] == 0:
            assert "max_depth_um" not in truth
            continue
        assert 0 < truth["mean_depth_10_deepest_um"] <= truth["max_depth_um"] <= 0.9 * 14
        assert truth["volume_per_area_um"] < truth["pitted_area_fraction"] * truth["max_depth_um"]
