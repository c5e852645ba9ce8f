"""A draft that loads, measures nothing wrong, and says what it does not know."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders.sdf_writer import write_sdf
from surfscan.study.drafting import draft_study
from surfscan.study.manifest import load_study

WriteImage = Callable[..., None]


def test_a_draft_loads_and_asks(tmp_path: Path, write_image: WriteImage) -> None:
    folder = tmp_path / "my_study"
    names = ["U_7d-1_a", "U_7d-1_b", "U_7d-2_a", "C_168h-1_worst", "R-1_product", 'odd "one"\x7f']
    for number, name in enumerate(names):
        write_image(folder / f"images/{name}.png", number)
    write_image(folder / "masks/U_7d-1_a_region.png")
    draft = draft_study(folder)
    study = load_study(folder)
    assert draft.path.read_text(encoding="utf-8") == draft.text
    assert study.title == "my study"
    assert {i.file for i in study.images} == {f"images/{name}.png" for name in names}
    hours = {s.id: s.exposure_h for s in study.specimens}
    assert (hours["U_7d-1"], hours["U_7d-2"], hours["C_168h-1"], hours["R-1"]) == (168, 168, 168, None)
    assert [len(study.images_of(s)) for s in ("U_7d-1", "U_7d-2")] == [2, 1]
    assert study.specimen("U_7d-2").group == study.specimen("U_7d-1").group == "U_7d"
    by_file = {image.file.removeprefix("images/"): image for image in study.images}
    assert by_file["U_7d-1_a.png"].region == "masks/U_7d-1_a_region.png"
    assert by_file["U_7d-1_b.png"].region is None
    assert by_file["C_168h-1_worst.png"].field_choice == "worst_seen"
    assert by_file["R-1_product.png"].condition == "with_product"
    asked = "\n".join(draft.could_not_tell)
    for part in (
        "Pixel size",
        "Exposure: no hours or days in the name. Add exposure_h (R-1",
        "Condition",
        "Groups",
    ):
        assert part in asked
    assert all(f"# - {line.split('(')[0]}" in draft.text for line in draft.could_not_tell)


def test_a_scale_in_the_file_is_not_asked_for(tmp_path: Path) -> None:
    import tifffile

    pixels = np.full((30, 30), 150, np.uint8)
    tifffile.imwrite(tmp_path / "plate_1.tif", pixels, resolution=(20000, 20000), resolutionunit="CENTIMETER")
    draft = draft_study(tmp_path)
    assert "pixel_size_um" not in draft.text
    assert not [line for line in draft.could_not_tell if line.startswith("Pixel size")]
    assert [line for line in draft.could_not_tell if line.startswith("Last number")]


def test_what_cannot_be_measured_is_left_out_and_named(tmp_path: Path, write_image: WriteImage) -> None:

    write_image(tmp_path / "good_a.png")
    (tmp_path / "cut.png").write_bytes((tmp_path / "good_a.png").read_bytes()[:60])
    draft = draft_study(tmp_path)
    assert [image.file for image in load_study(tmp_path).images] == ["good_a.png"]
    assert [line for line in draft.could_not_tell if line.startswith("cut.png: left out")]


def test_height_maps_are_drafted_as_such(
    tmp_path: Path, write_image: WriteImage, write_heights: WriteImage
) -> None:
    write_image(tmp_path / "P1_7d_a.png")
    write_image(tmp_path / "P1_7d_a_datum.png", 1)
    write_heights(tmp_path / "P1_7d_h1.tif")
    write_heights(tmp_path / "P1_7d_h2.tif", 1, pixel_size_um=None)
    write_image(tmp_path / "P1_7d_h1_region.png", 2)
    write_image(tmp_path / "P1_7d_h1_datum.png", 3)
    write_heights(tmp_path / "P1_7d_h2_unexposed.tif", 2)
    draft = draft_study(tmp_path)
    study = load_study(tmp_path)
    assert [(i.file, i.shows, i.companions()) for i in study.images] == [
        ("P1_7d_a.png", "surface", {}),
        ("P1_7d_a_datum.png", "surface", {}),  # grey has no datum: a picture like any other
        ("P1_7d_h1.tif", "heights", {"region": "P1_7d_h1_region.png", "datum": "P1_7d_h1_datum.png"}),
        ("P1_7d_h2.tif", "heights", {"unexposed": "P1_7d_h2_unexposed.tif"}),
    ]
    assert [i.specimen for i in study.images if i.shows == "heights"] == ["P1_7d", "P1_7d"]
    asked = "\n".join(draft.could_not_tell)
    assert "Pixel size: no scale in the file." in asked and "P1_7d_h2.tif)" in asked
    assert "Unit of the heights: none in the file" in asked and "(P1_7d_h1.tif, P1_7d_h2.tif)" in asked
    assert draft.text.count('# height_unit = "..."') == 2


def test_a_height_map_that_states_its_unit_is_not_asked_for_it(tmp_path: Path) -> None:
    heights = np.random.default_rng(0).normal(0, 0.1, (20, 30))
    write_sdf(tmp_path / "P1_h.sdf", heights, (0.5, 0.5))
    (tmp_path / "P1_masses.csv").write_text("specimen,mass_g\nP1,1.25\n")
    draft = draft_study(tmp_path)
    [image] = load_study(tmp_path).images
    assert (image.file, image.shows, image.procedures) == ("P1_h.sdf", "heights", ("pits", "texture"))
    assert "height_unit" not in draft.text and "pixel_size_um" not in draft.text


def test_a_table_of_heights_is_drafted_and_no_other_table(tmp_path: Path) -> None:
    rows = np.random.default_rng(0).normal(0, 0.1, (20, 18)).round(3)
    np.savetxt(tmp_path / "P1_h.txt", rows, "%.3f")
    (tmp_path / "P1_rates.txt").write_text("0 7.4 37 1.25 1.5 0.5\n7 7.5 37 2.25 2.5 0.75\n" * 12)
    (tmp_path / "P1_log.csv").write_text("time_h,potential_mV\n0,-350\n1,-348\n")
    (tmp_path / "notes.txt").write_text("exposed on Monday\n")
    draft = draft_study(tmp_path)
    [image] = load_study(tmp_path).images
    assert (image.file, image.shows) == ("P1_h.txt", "heights")
    [said] = [line for line in draft.could_not_tell if "left out" in line]
    assert said.startswith("P1_rates.txt was left out: 24 x 6 numbers are too few")


def test_masks_by_folder_and_files_that_only_look_like_images(
    tmp_path: Path, write_image: WriteImage
) -> None:
    for seed, name in enumerate(("P1_a.png", "P2_a.png", "masks/P1_a.png", "masks/P9_a.png")):
        write_image(tmp_path / name, seed)
    (tmp_path / "notes.tif").write_text("no picture")
    (tmp_path / "notes.txt").write_text("no picture")
    draft = draft_study(tmp_path)
    study = load_study(tmp_path)
    assert {image.file: image.region for image in study.images} == {
        "P1_a.png": "masks/P1_a.png",
        "P2_a.png": None,
    }
    said = [line for line in draft.could_not_tell if "left out" in line]
    assert [line.split(" ")[0] for line in said] == ["masks/P9_a.png", "notes.tif:"]
    assert "it holds text" in said[1]


def test_struts_and_sections_are_guessed_from_names(
    tmp_path: Path, write_image: WriteImage, write_heights: Callable[..., None]
) -> None:
    pictures = [
        "struts/U07-1_strut.png",
        "struts/U07-1_side.png",
        "struts/U07-2_mesh.png",
        "struts/U07-2_mesh_before.png",
        "struts/U07-3_a.png",
        "struts/U07-3_b.png",
        "struts/U07-3_before.png",
        "sections/U07-1.png",
        "sections/U07-1_twin.png",
        "images/U07-4_a.png",
        "images/U07-4_a_before.png",
    ]
    for seed, name in enumerate(pictures):
        write_image(tmp_path / name, seed)
    write_heights(tmp_path / "struts/U07-2_mesh_stage.tif")
    draft = draft_study(tmp_path)
    study = load_study(tmp_path)
    found = {image.file: (image.shows, image.companions()) for image in study.images}
    assert found == {
        "struts/U07-1_strut.png": ("strut", {"side_view": "struts/U07-1_side.png"}),
        "struts/U07-2_mesh.png": (
            "strut",
            {"before": "struts/U07-2_mesh_before.png", "thickness_map": "struts/U07-2_mesh_stage.tif"},
        ),
        "struts/U07-3_a.png": ("strut", {}),
        "struts/U07-3_b.png": ("strut", {}),
        "struts/U07-3_before.png": ("strut", {}),  # of which of the two nobody can tell
        "sections/U07-1.png": ("section", {"twin": "sections/U07-1_twin.png"}),
        "images/U07-4_a.png": ("surface", {}),
        "images/U07-4_a_before.png": ("surface", {}),  # a surface has no picture before
    }
    assert [len(study.images_of(f"U07-{n}")) for n in (1, 2, 3, 4)] == [2, 1, 3, 2]
    assert 'shows = "strut"  # guessed from the name' in draft.text
    assert 'shows = "surface"\n' in draft.text
    specimen = draft.text[draft.text.index('id = "U07-1"') :]
    assert "# drawn_strut_width_um = ...  # as drawn" in specimen[: specimen.index("[[specimen]]")]
    specimen = draft.text[draft.text.index('id = "U07-4"') :]
    assert "drawn" not in specimen[: specimen.index("[[specimen]]")]
    [said] = [line for line in draft.could_not_tell if line.startswith("What it shows: struts or a cross-")]
    assert "sections/U07-1.png" in said and "images" not in said
    [said] = [line for line in draft.could_not_tell if line.startswith("Named like something that belongs")]
    assert "struts/U07-3_before.png" in said and "U07-2" not in said
    entry = draft.text[draft.text.index('file = "struts/U07-2_mesh.png"') :].split("[[image]]")[0]
    assert '# side_view = "..."  # side view' in entry and "# before" not in entry


def test_one_specimen_at_several_exposures(tmp_path: Path, write_image: WriteImage) -> None:
    for seed, name in enumerate(("7d/P1_a.png", "14d/P1_a.png")):
        write_image(tmp_path / name, seed)
    assert "exposure_h = 336  # the names also give 168" in draft_study(tmp_path).text


def test_never_writes_over_a_study(tmp_path: Path, write_image: WriteImage) -> None:
    write_image(tmp_path / "a_1.png")
    (tmp_path / "study.toml").write_text("mine")
    with pytest.raises(InputError, match="there is a study here already"):
        draft_study(tmp_path)
    assert (tmp_path / "study.toml").read_text() == "mine"
    draft_study(tmp_path, overwrite=True)
    assert load_study(tmp_path).images


def test_nothing_to_draft_from(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no image to measure was found"):
        draft_study(tmp_path)
    with pytest.raises(InputError, match="there is no such folder"):
        draft_study(tmp_path / "none")
    assert not list(tmp_path.iterdir())


@pytest.fixture
def write_barred(write_image: WriteImage, draw_bar: Callable[..., np.ndarray]) -> WriteImage:
    """Function that writes a picture with a scale bar drawn into it, as grey TIFF."""
    import tifffile

    def write(path: Path, label: str, length: int, **how: object) -> None:
        ground = np.random.default_rng(8).normal(130, 12, (400, 600)).clip(0, 255).astype(np.uint8)
        picture = draw_bar(ground, label, row=300, col=60, length=length)
        tifffile.imwrite(path, picture, **how)

    return write


def test_a_scale_bar_that_is_read_surely_is_noted_and_not_asked_for(
    tmp_path: Path, write_barred: WriteImage
) -> None:
    write_barred(tmp_path / "P1_7d_a.tif", "50 µm", 200)
    draft = draft_study(tmp_path)
    assert "\n# scale bar '50 µm': 0.25 µm per px\n" in draft.text
    assert "pixel_size_um" not in draft.text
    assert not [line for line in draft.could_not_tell if line.startswith(("Pixel size", "Scale bar"))]
    assert load_study(tmp_path).images[0].pixel_size_um is None


def test_a_doubtful_scale_bar_is_offered(tmp_path: Path, write_barred: WriteImage) -> None:
    write_barred(tmp_path / "P1_7d_a.tif", "37 µm", 200)  # no number that bars have
    draft = draft_study(tmp_path)
    [line] = [line for line in draft.text.splitlines() if line.startswith("# pixel_size_um")]
    assert line.startswith("# pixel_size_um = 0.185  # scale bar read '37 µm' with confidence 0.")
    assert line.endswith(": look at it, then take the # away")
    [asked] = [line for line in draft.could_not_tell if line.startswith("Scale bar: read, but not surely")]
    assert asked.endswith("(P1_7d_a.tif)")
    taken = draft.text.replace(line, line.removeprefix("# "))
    draft.path.write_text(taken, encoding="utf-8")
    assert load_study(tmp_path).images[0].pixel_size_um == (0.185, 0.185)


def test_a_scale_bar_without_label_asks_for_it(
    tmp_path: Path, write_barred: WriteImage, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_barred(tmp_path / "P1_7d_a.tif", "50 µm", 200)
    monkeypatch.setattr("surfscan.calibration.label_reading.importlib.util.find_spec", lambda name: None)
    draft = draft_study(tmp_path)
    assert (
        "# pixel_size_um = ...  # scale bar of 200.0 px, label not read: its µm divided by 200.0"
        in draft.text
    )
    [asked] = [line for line in draft.could_not_tell if line.startswith("Scale bar: found, but its label")]
    assert 'pip install "surfscan[ocr]"' in asked
    assert asked.endswith("(P1_7d_a.tif)")


def test_a_scale_bar_that_disagrees_with_the_file_is_pointed_out(
    tmp_path: Path, write_barred: WriteImage
) -> None:
    write_barred(
        tmp_path / "P1_7d_a.tif", "50 µm", 200, resolution=(20000, 20000), resolutionunit="CENTIMETER"
    )
    draft = draft_study(tmp_path)
    assert "# pixel_size_um = 0.25  # scale bar '50 µm'; the file says 0.5: look which holds" in draft.text
    [asked] = [line for line in draft.could_not_tell if line.startswith("Pixel size: the scale bar")]
    assert asked.endswith("(P1_7d_a.tif)")
