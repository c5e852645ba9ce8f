"""The demo's pictures of polished sections: the metal that the loss leaves, and true as stated."""

from pathlib import Path

import cv2
import make_demo
import numpy as np
import pytest
import sections
from struts import THICKNESS_UM, WIDTH_UM

from surfscan.opening import open_image
from surfscan.procedures import measure_section
from surfscan.procedures.settings import SectionSettings

HERE = Path(make_demo.__file__).parent / "sections"
PICTURES = {name: picture for picture, name in make_demo.section_pictures()}
CUTS = {name: sections.cut(picture) for name, picture in PICTURES.items()}


def stored(name: str) -> np.ndarray:
    """Pixels of a stored picture."""
    return cv2.imread(str(HERE / name), cv2.IMREAD_GRAYSCALE)


@pytest.mark.parametrize("name", ["U28-1_section.jpg", "C28-1_section.jpg", "U00-1_section.jpg"])
def test_script_gives_the_stored_picture(name):
    """Other processors round the last bit otherwise, and JPEG makes a few grey levels of it."""
    content = make_demo.encode_small(sections.paint(PICTURES[name])[0])
    made = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_GRAYSCALE)
    assert content == make_demo.encode_small(sections.paint(PICTURES[name])[0])
    difference = np.abs(made.astype(int) - stored(name))
    assert difference.max() <= 8 and np.mean(difference > 0) < 0.01


def test_metal_is_what_the_loss_leaves():
    """Each section's mean penetration is its specimen's loss; areas, fraction and penetration agree."""
    for name, section in CUTS.items():
        loss, truth = PICTURES[name].specimen.loss_um, section.truth
        assert truth["mean_penetration_um"] == pytest.approx(loss, abs=0.3)
        left = (WIDTH_UM - 2 * loss) * (THICKNESS_UM - 2 * loss)
        assert truth["metal_area_um2"] == pytest.approx(left, rel=0.01)
        assert truth["original_area_um2"] == WIDTH_UM * THICKNESS_UM
        share = min(1, truth["metal_area_um2"] / (WIDTH_UM * THICKNESS_UM))
        assert truth["remaining_fraction"] == pytest.approx(share)


@pytest.mark.parametrize("fraction", [1.0, 0.8, 0.3])
def test_mean_penetration_solves_the_rectangle(fraction):
    d = sections.mean_penetration_um(fraction)
    assert (WIDTH_UM - 2 * d) * (THICKNESS_UM - 2 * d) == pytest.approx(fraction * WIDTH_UM * THICKNESS_UM)


@pytest.mark.parametrize("name", ["U14-1_section.jpg", "U28-3_section.jpg", "C28-2_section.jpg"])
def test_metal_shows_where_it_is(name):
    """Pixels lighter than half-way between metal and product cover the true area, stretched by the cut."""
    picture = PICTURES[name]
    light = stored(name)[: picture.field[0]] > 150
    area = np.count_nonzero(light) * picture.pixel_size_um**2 / picture.stretch
    assert area == pytest.approx(CUTS[name].truth["metal_area_um2"], rel=0.02)


def test_greatest_penetration_is_that_of_the_deepest_wide_gap():
    """Between the loss and half the thickness, stated only where there is one piece of metal."""
    stated = {n for n, section in CUTS.items() if "max_penetration_um" in section.truth}
    assert len(stated) >= 5
    for name in stated:
        truth = CUTS[name].truth
        assert truth["mean_penetration_um"] < truth["max_penetration_um"] < THICKNESS_UM / 2
        assert cv2.connectedComponents(CUTS[name].metal.astype(np.uint8))[0] == 2
    assert "C28-2_section.jpg" not in stated


def test_product_is_cracked_and_islands_occur():
    """Cracks and pores lie in product or where it was; no metal is counted as product."""
    for name, section in CUTS.items():
        assert not (section.metal & section.product).any() and not (section.void & section.metal).any()
        if PICTURES[name].specimen.days:
            assert 0.01 < section.void.sum() / section.product.sum() < 0.25
            assert (section.product & ~section.original).any()
    pieces = [cv2.connectedComponents(s.metal.astype(np.uint8))[0] - 1 for s in CUTS.values()]
    assert max(pieces) >= 2


def test_both_contrasts_an_oblique_cut_and_a_data_strip_occur():
    assert {picture.detector for picture in PICTURES.values()} == set(sections.DETECTORS)
    assert [n for n, p in PICTURES.items() if p.cut_angle_deg] == ["C28-2_section.jpg"]
    (name,) = (n for n, p in PICTURES.items() if p.has_strip)
    strip = stored(name)[PICTURES[name].field[0] :]
    bar = np.flatnonzero(strip[23] > 128)
    assert len(bar) == np.ptp(bar) + 1 == round(200 / PICTURES[name].pixel_size_um)


def test_oblique_cut_is_stretched_in_thickness_alone():
    """Extent of the original outline in the picture against its drawn size."""
    for name in ("C28-1_section.jpg", "C28-2_section.jpg"):
        picture = PICTURES[name]
        rows, cols = np.nonzero(CUTS[name].original)
        corners = cv2.boxPoints(cv2.minAreaRect(np.stack([cols, rows], axis=1).astype(np.int32)))
        sides = np.hypot(*(np.roll(corners, 1, axis=0) - corners).T) * picture.pixel_size_um / sections.FINER
        area = np.count_nonzero(CUTS[name].original) * (picture.pixel_size_um / sections.FINER) ** 2
        assert area == pytest.approx(WIDTH_UM * THICKNESS_UM * picture.stretch, rel=2e-3)
        assert max(sides) == pytest.approx(WIDTH_UM, rel=0.01)


@pytest.mark.parametrize("name", ["U28-1_section.jpg", "C28-1_section.jpg", "C28-2_section.jpg"])
def test_measured_metal_is_the_true_one(name):
    """With an island and a data strip, in optical contrast, on an oblique cut: area to 1 %."""
    picture, truth = PICTURES[name], CUTS[name].truth
    settings = SectionSettings(
        drawn_width_um=WIDTH_UM, drawn_thickness_um=THICKNESS_UM, cut_angle_deg=picture.cut_angle_deg
    )
    opened = open_image(HERE / name, pixel_size_um=picture.pixel_size_um)
    summary = measure_section(opened, settings).summary
    assert summary["metal_area_um2"] == pytest.approx(truth["metal_area_um2"], rel=0.01)
    assert summary["remaining_fraction"] == pytest.approx(truth["remaining_fraction"], abs=0.01)
    assert summary["mean_penetration_um"] == pytest.approx(truth["mean_penetration_um"], abs=0.5)
