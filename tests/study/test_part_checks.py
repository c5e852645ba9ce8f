"""What struts and sections need before their loss can be told, and what `surfscan check` says of it."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from surfscan.procedures.settings import SectionSettings, StrutSettings
from surfscan.study.check import check_study
from surfscan.study.entries import ImageEntry
from surfscan.study.part_checks import (
    companion_entry_fault,
    needs_scale,
    no_loss,
    shape_fault,
    unusual_sizes,
)

TOLD = 'condition = "cleaned"\ncleaning = "acid"\nfield_choice = "random"\n'
STRUT = f'shows = "strut"\n{TOLD}'
SECTION = f'shows = "section"\n{TOLD}'
SCALED = "pixel_size_um = 0.5\n"


def _found(folder: Path) -> list[str]:
    """Findings without line numbers."""
    return [
        re.sub(r"^(\w+ [\w.]+):\d+:", r"\1:", f"{found.severity} {found}") for found in check_study(folder)
    ]


def _line_of(folder: Path, text: str, what: str) -> None:
    """The finding that says `what` stands at the line of the manifest that reads `text`."""
    lines = (folder / "study.toml").read_text().splitlines()
    [found] = [f for f in check_study(folder) if what in f.what]
    assert lines[int(found.where.rpartition(":")[2]) - 1] == text


@pytest.mark.parametrize("kind", [StrutSettings, SectionSettings])
@pytest.mark.parametrize(
    ("sizes", "fault"),
    [
        ({}, None),
        ({"drawn_width_um": 400}, None),
        ({"drawn_shape": "trapezoid", "drawn_width_um": 400, "drawn_thickness_um": 300,
          "drawn_top_width_um": 400}, None),
        ({"drawn_top_width_um": 300, "drawn_width_um": 400}, "belongs to a trapezoid, and drawn_shape is 'r"),
        ({"drawn_top_width_um": 300, "drawn_shape": "ellipse"}, "and drawn_shape is 'ellipse'"),
        ({"drawn_shape": "trapezoid", "drawn_width_um": 400, "drawn_thickness_um": 300},
         "without the width of the narrower face"),
        ({"drawn_shape": "trapezoid", "drawn_top_width_um": 300},
         "without the width of the wider face and the thickness"),
        ({"drawn_shape": "trapezoid", "drawn_width_um": 400, "drawn_thickness_um": 300,
          "drawn_top_width_um": 401}, "the narrower face, 401 µm, is wider than the wider one, 400 µm"),
    ],
)  # fmt: skip
def test_drawn_sizes_must_agree(kind: type, sizes: dict[str, object], fault: str | None) -> None:
    found = shape_fault(kind(**sizes))
    assert (found is None) == (fault is None)
    if found:
        assert found[0] in sizes and fault in found[1]


@pytest.mark.parametrize(("size", "said"), [(0.25, "small"), (20, None), (5000, None), (400_000, "large")])
def test_a_drawn_size_in_another_unit_is_asked_about(size: float, said: str | None) -> None:
    found = unusual_sizes(StrutSettings(drawn_width_um=size, drawn_thickness_um=300))
    assert [name for name, _, _ in found] == (["drawn_width_um"] if said else [])
    assert not said or f"is {said} for a thin part" in found[0][1]


@pytest.mark.parametrize(
    ("role", "entry", "said"),
    [
        ("before", None, None),
        ("before", {"shows": "strut", "specimen": "s"}, None),
        ("before", {"shows": "strut", "specimen": "t"}, "measures it as one of 't'"),
        (
            "before",
            {"shows": "section", "specimen": "s"},
            "to show 'strut', and this study measures it as 's",
        ),
        ("side_view", {"shows": "section", "specimen": "s"}, "as side view it is to show 'strut'"),
        ("thickness_map", {"shows": "heights", "specimen": "s"}, None),
        ("thickness_map", {"specimen": "s"}, "to show 'heights', and this study measures it as 'surface'"),
        ("region", {"specimen": "t"}, None),
    ],
)
def test_a_companion_may_be_an_image_of_the_same_specimen_that_shows_what_it_should(
    role: str, entry: dict[str, str] | None, said: str | None
) -> None:
    image = ImageEntry(file="a.png", specimen="s", shows="strut")
    found = companion_entry_fault(image, role, None if entry is None else ImageEntry(file="b", **entry))
    assert (found is None) == (said is None)
    assert found is None or said in found[0]


def test_a_twin_is_a_section_of_another_specimen() -> None:
    image = ImageEntry(file="a.png", specimen="s", shows="section")
    assert companion_entry_fault(image, "twin", ImageEntry(file="b", specimen="t", shows="section")) is None
    fault = companion_entry_fault(image, "twin", ImageEntry(file="b", specimen="t", shows="strut"))
    assert fault and "to show 'section'" in fault[0]


def test_check_names_the_companion_and_the_size(make_study: Callable[..., Path]) -> None:
    files = {"a.png": STRUT + SCALED + 'before = "images/b.png"', "b.png": SECTION + SCALED}
    folder = make_study(dict.fromkeys(files, 200), files)
    manifest = folder / "study.toml"
    size = "drawn_strut_width_um = 0.25"
    manifest.write_text(manifest.read_text().replace("exposure_h = 168\n", f"exposure_h = 168\n{size}\n"))
    said = _found(folder)
    assert any(text.startswith("error study.toml: images/b.png: as picture before exposure") for text in said)
    _line_of(folder, size, "a drawn size of 0.25 µm is small for a thin part")


def test_a_loss_needs_something_to_compare_with() -> None:
    strut, section = (ImageEntry(file="a.png", specimen="s", shows=s) for s in ("strut", "section"))
    assert "no loss can be told" in no_loss(strut, StrutSettings())[0]
    assert "guessed from the product" in no_loss(section, SectionSettings())[0]
    assert no_loss(strut, StrutSettings(drawn_width_um=400)) is None
    assert no_loss(section, SectionSettings(original_area_um2=1e4)) is None
    assert no_loss(strut.model_copy(update={"before": "b.png"}), StrutSettings()) is None
    assert no_loss(section.model_copy(update={"twin": "t.png"}), SectionSettings()) is None
    assert needs_scale(StrutSettings(thickness_um=9)) and needs_scale(SectionSettings(original_area_um2=9))
    assert not needs_scale(StrutSettings())


def test_a_sound_study_of_parts(
    make_study: Callable[..., Path], write_image: Callable[..., None], write_heights: Callable[..., None]
) -> None:
    files = {
        "a.png": STRUT + SCALED + 'before = "images/before.png"\nthickness_map = "h.tif"\nregion = "r.png"',
        "b.png": STRUT + SCALED + 'side_view = "images/side.png"',
        "c.png": SECTION + SCALED + 'twin = "images/twin.png"\ncut_angle_deg = 12',
    }
    folder = make_study(dict.fromkeys(files, 200), files)
    for seed, name in enumerate(("images/before", "images/side", "images/twin", "r"), 50):
        write_image(folder / f"{name}.png", seed)
    write_heights(folder / "h.tif")
    manifest = folder / "study.toml"
    sizes = 'drawn_strut_width_um = 400\ndrawn_thickness_um = 300\ndrawn_shape = "ellipse"\n'
    manifest.write_text(manifest.read_text().replace("exposure_h = 168\n", f"exposure_h = 168\n{sizes}"))
    assert [f for f in _found(folder) if "group 'g' has 1 specimen" not in f] == []


def test_everything_wrong_with_parts(
    make_study: Callable[..., Path], write_image: Callable[..., None], write_heights: Callable[..., None]
) -> None:
    files = {
        "plain.png": STRUT + SCALED,
        "product.png": SECTION + SCALED,
        "gone.png": STRUT + SCALED + 'before = "images/befor.png"',
        "map.png": STRUT + SCALED + 'thickness_map = "images/before.png"',
        "heights.png": STRUT + SCALED + 'side_view = "h.x3p"',
        "itself.png": STRUT + SCALED + 'before = "images/itself.png"',
        "unscaled.png": STRUT + 'before = "images/before.png"\nside_view = "images/side.png"',
        "one.tif": SECTION + 'twin = "images/twin.png"',
    }
    folder = make_study({name: 200 for name in files if name.endswith("png")}, files)
    for seed, name in enumerate(("before", "side", "twin"), 50):
        write_image(folder / f"images/{name}.png", seed)
    _write_scaled(folder / "images/one.tif")
    write_heights(folder / "h.x3p")  # a TIFF whatever its name
    manifest = folder / "study.toml"
    manifest.write_text(
        manifest.read_text() + f'[[image]]\nfile = "images/one.tif"\nspecimen = "s"\n{files["one.tif"]}\n'
    )
    found = _found(folder)
    for start in (
        "warning study.toml: images/plain.png shows struts without a drawn width or a picture before",
        "warning study.toml: images/product.png shows a section without a drawn size, a picture before",
        "error study.toml: the picture before exposure images/befor.png is missing. Did you mean 'before.",
        "error study.toml: images/itself.png: as picture before exposure it is the image itself",
        "warning study.toml: images/unscaled.png: No usable scale",
        "warning study.toml: images/before.png: no scale: how much the two differ in size is fitted",
        "warning study.toml: images/side.png: no scale, so that no thickness can be taken from it",
        "warning study.toml: images/twin.png: no scale: both are taken to have pixels of one size",
        "warning study.toml: h.x3p: Floating-point pixels, by themselves heights",
    ):
        assert [f for f in found if f.startswith(start)], (start, found)
    assert not [f for f in found if "drawn sizes cannot be used" in f or "not in the study" in f]
    _line_of(folder, 'side_view = "images/side.png"', "no thickness")
    _line_of(folder, 'before = "images/befor.png"', "is missing")


def _write_scaled(path: Path) -> None:
    import numpy as np
    import tifffile

    pixels = np.random.default_rng(7).integers(90, 200, (40, 40)).astype(np.uint8)
    tifffile.imwrite(path, pixels, resolution=(20000, 20000), resolutionunit="CENTIMETER")


def test_drawn_sizes_need_a_scale_and_must_agree(make_study: Callable[..., Path]) -> None:
    folder = make_study({"a.png": 200, "b.png": 200}, {"a.png": STRUT, "b.png": SECTION + SCALED})
    manifest = folder / "study.toml"
    plain = manifest.read_text()

    def state(sizes: str, settings: str = "") -> list[str]:
        manifest.write_text(plain.replace("exposure_h = 168\n", f"exposure_h = 168\n{sizes}") + settings)
        return _found(folder)

    found = state("drawn_strut_width_um = 400\n")
    assert [f for f in found if "No usable scale" in f and "px and drawn sizes cannot be used" in f]
    assert not [f for f in found if "no loss" in f or "guessed" in f or f.startswith("error")]
    found = state('drawn_shape = "trapezoid"\ndrawn_strut_width_um = 400\ndrawn_top_width_um = 350\n')
    assert [f for f in found if f.startswith("error study.toml: a trapezoid is drawn without the thickness.")]
    _line_of(folder, 'drawn_shape = "trapezoid"', "drawn without the thickness")
    found = state("drawn_top_width_um = 350\n")
    assert sum("belongs to a trapezoid, and drawn_shape is 'rectangle'" in f for f in found) == 1
    _line_of(folder, "drawn_top_width_um = 350", "belongs to a trapezoid")
    found = state("", "[settings.section]\ndrawn_width_um = 400.0\ndrawn_top_width_um = 350.0\n")
    assert sum("belongs to a trapezoid" in f for f in found) == 1
    _line_of(folder, "drawn_top_width_um = 350.0", "belongs to a trapezoid")


def test_only_worst_seen_of_one_kind(make_study: Callable[..., Path]) -> None:
    worst = STRUT.replace("random", "worst_seen")
    folder = make_study({"a.png": 200, "b.png": 200}, {"a.png": worst, "b.png": SECTION})
    said = "specimen 's' has only worst-seen pictures of struts, which enter no mean"
    assert [f for f in _found(folder) if said in f]
