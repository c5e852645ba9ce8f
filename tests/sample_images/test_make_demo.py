"""The demo study: complete, small, and what its script makes."""

import csv
import tomllib
from collections import defaultdict
from pathlib import Path

import cv2
import make_demo
import numpy as np
import pytest
import struts
import tifffile
from surfaces import paint

HERE = Path(make_demo.__file__).parent
PICTURES = {name: field for field, name in make_demo.fields()}
MAPS = {name: field for field, name in make_demo.height_fields()}
STRUTS = {name: picture for picture, name in make_demo.strut_pictures()}
SECTIONS = {name: picture for picture, name in make_demo.section_pictures()}
FOLDERS = {"images": PICTURES, "heights": MAPS, "struts": STRUTS, "sections": SECTIONS}


def truth() -> dict[str, dict[str, float]]:
    """Figures of each picture, from truth.csv."""
    out: dict[str, dict[str, float]] = defaultdict(dict)
    with (HERE / "truth.csv").open(newline="", encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            out[row["image"]][row["figure"]] = float(row["true_value"])
    return out


def decode(path: Path) -> np.ndarray:
    """Pixels of a stored picture."""
    return tifffile.imread(path) if path.suffix == ".tif" else cv2.imread(str(path), cv2.IMREAD_UNCHANGED)


@pytest.mark.parametrize("name", ["C07-2_b.png", "S28-1_b.ome.tif"])
def test_script_gives_the_stored_picture_and_figures(name):
    """Other processors round the last bit otherwise, so one grey level in few pixels may differ."""
    picture, figures = paint(PICTURES[name])
    stored = decode(HERE / "images" / name)
    assert picture.shape == stored.shape
    difference = np.abs(picture.astype(int) - stored)
    assert difference.max() <= 1 and np.mean(difference > 0) < 1e-3
    for figure, value in figures.items():
        assert truth()[f"images/{name}"][figure] == pytest.approx(value, rel=1e-3)


def test_same_run_gives_the_same_bytes():
    name = "S28-3_a.jpg"
    contents = {make_demo.encode(paint(PICTURES[name])[0], name, 0.5) for _ in range(2)}
    assert len(contents) == 1


@pytest.mark.parametrize("suffix", ["png", "tif", "ome.tif"])
def test_encoding_is_lossless_and_repeatable(tmp_path, suffix):
    picture = np.random.default_rng(0).integers(0, 256, (30, 40)).astype(np.uint8)
    content = make_demo.encode(picture, f"x.{suffix}", 0.5)
    assert content == make_demo.encode(picture, f"x.{suffix}", 0.5)
    (tmp_path / f"x.{suffix}").write_bytes(content)
    assert np.array_equal(decode(tmp_path / f"x.{suffix}"), picture)


def test_files_manifest_and_truth_agree():
    study = tomllib.loads((HERE / "study.toml").read_text(encoding="utf-8"))
    listed = {image["file"] for image in study["image"]}
    made = {f"{folder}/{name}" for folder, own in FOLDERS.items() for name in own}
    assert listed == made == set(truth())
    roles = ("datum", "unexposed", "before", "side_view", "thickness_map", "twin")
    belonging = {role: image[role] for image in study["image"] for role in roles if role in image}
    assert set(belonging) == set(roles) and belonging["twin"] in listed
    belonging = {image[role] for image in study["image"] for role in roles if role in image}
    stored = {f"{folder}/{path.name}" for folder in FOLDERS for path in (HERE / folder).iterdir()}
    assert stored == listed | belonging and len(belonging - listed) == 6
    ids, groups = {s["id"] for s in study["specimen"]}, {g["name"] for g in study["group"]}
    assert {image["specimen"] for image in study["image"]} == ids
    assert {s["group"] for s in study["specimen"]} == groups
    assert {g["baseline"] for g in study["group"] if "baseline" in g} <= groups
    plates, pictures, maps = make_demo.specimens(), make_demo.fields(), make_demo.height_fields()
    assert study == tomllib.loads(make_demo.manifest(plates, pictures, maps))


def test_study_states_what_the_pictures_were_made_with():
    """Drawn sizes of every specimen, pixel sizes, and the angle of the oblique cut."""
    study = tomllib.loads((HERE / "study.toml").read_text(encoding="utf-8"))
    for specimen in study["specimen"]:
        drawn = specimen["drawn_strut_width_um"], specimen["drawn_thickness_um"]
        assert drawn == (struts.WIDTH_UM, struts.THICKNESS_UM)
    for image in study["image"]:
        folder, _, name = image["file"].partition("/")
        picture = FOLDERS[folder][name]
        assert image["specimen"] == picture.specimen.id
        if folder in ("struts", "sections"):
            assert image["pixel_size_um"] == picture.pixel_size_um
            assert image["shows"] == folder.removesuffix("s")
            assert image.get("cut_angle_deg") == getattr(picture, "cut_angle_deg", None)
            assert decode(HERE / image["file"]).shape == picture.shape


def test_enough_plates_and_fields_for_intervals():
    """Three plates a group, baselines too, and three fields an exposed plate."""
    plates, fields = defaultdict(set), defaultdict(int)
    for kind, own in FOLDERS.items():
        for field in own.values():
            plates[kind, field.specimen.group].add(field.specimen.id)
    for field in PICTURES.values():
        if not field.worst_seen and field.condition != "with_product":
            fields[field.specimen] += 1
    assert {len(ids) for ids in plates.values()} == {3}
    assert all(n == (3 if specimen.days else 2) for specimen, n in fields.items())


def test_demo_says_that_it_is_invented_and_stays_small():
    assert "invented" in (HERE / "README.md").read_text(encoding="utf-8").lower()
    assert "invented" in (HERE / "study.toml").read_text(encoding="utf-8").lower()
    data = [path for folder in FOLDERS for path in (HERE / folder).iterdir()]
    data += [HERE / "study.toml", HERE / "truth.csv", HERE / "truth_rates.csv"]
    data += [path for folder in ("sweeps", "logs") for path in (HERE / folder).iterdir()]
    size = sum(path.stat().st_size for path in data)
    assert size < 8e6


def test_faster_corrosion_shows_in_every_figure():
    """Within a time, the uncoated plates are ahead of the coated ones, and those of the reference."""
    figures = truth()

    def mean(prefix: str, figure: str) -> float:
        return float(np.mean([figures[f"images/{n}"][figure] for n in PICTURES if n[:5].startswith(prefix)]))

    for figure in ("pit_count", "pitted_area_fraction", "degraded_area_fraction"):
        for days in ("07", "28"):
            assert mean(f"U{days}", figure) > mean(f"C{days}", figure)
        assert mean("C28", figure) > mean("S28", figure)


def test_true_figures_are_possible():
    for image, figures in truth().items():
        if not image.startswith(("images/", "heights/")):
            continue  # see test_struts.py and test_sections.py
        assert figures["pit_count"] >= 0 and 0 <= figures["pitted_area_fraction"] < 0.75
        if image.startswith("images/"):
            assert figures["pitted_area_fraction"] <= figures["degraded_area_fraction"] < 0.75
