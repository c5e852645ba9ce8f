"""`surfscan check` finds everything at once and names the line."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders.x3p_writer import write_x3p
from surfscan.study.check import check_study

SOUND = 'pixel_size_um = 0.5\ncondition = "cleaned"\ncleaning = "acid"\nfield_choice = "random"\n'
REPLICATES = "".join(f'[[specimen]]\nid = "s{n}"\ngroup = "g"\nexposure_h = 168\n' for n in (2, 3))
MakeStudy = Callable[..., Path]


def _found(folder: Path) -> list[str]:
    return [f"{finding.severity} {finding}" for finding in check_study(folder)]


def _lines(folder: Path, text: str) -> list[int]:
    lines = (folder / "study.toml").read_text().splitlines()
    return [number for number, line in enumerate(lines, 1) if line == text]


def test_a_sound_study_gives_nothing(make_study: MakeStudy, write_image: Callable[..., None]) -> None:
    folder = make_study({f"{n}.png": 200 for n in "abc"}, {f"{n}.png": SOUND for n in "abc"}, REPLICATES)
    text = (folder / "study.toml").read_text()
    for number in (2, 3):
        before, _, after = text.rpartition('specimen = "s"')
        text = f'{before}specimen = "s{5 - number}"{after}'
    (folder / "study.toml").write_text(text)
    write_image(folder / "regions/a.png", seed=99)
    region = 'file = "images/a.png"\nregion = "regions/a.png"'
    (folder / "study.toml").write_text(text.replace('file = "images/a.png"', region))
    assert _found(folder) == []


def test_everything_at_once(make_study: MakeStudy, write_image: Callable[..., None]) -> None:
    extra = {
        "a.png": SOUND.replace("cleaned", "with_product"),
        "size.png": SOUND + 'region = "small.png"',
        "nomask.png": SOUND + 'region = "smal.png"',
        "black.png": SOUND + 'region = "black.png"',
        "text.png": SOUND,
        "gone.png": SOUND,
        "twin.png": SOUND + 'cleanning = "x"',
        "again.png": SOUND.replace("random", "worst_seen"),
    }
    folder = make_study({**dict.fromkeys(extra, 200), "plain.png": 200}, extra)
    write_image(folder / "small.png", size=20)
    (folder / "black.png").write_bytes(cv2.imencode(".png", np.zeros((40, 40), np.uint8))[1].tobytes())
    for name in ("images/text.png", "spare.jpg"):
        (folder / name).write_text("no picture")
    (folder / "images/gone.png").rename(folder / "images/gone1.png")
    (folder / "images/again.png").write_bytes((folder / "images/a.png").read_bytes())
    found = _found(folder)

    def line(of: str, start: str = "file = ") -> int:
        lines = (folder / "study.toml").read_text().splitlines()
        here = lines.index(f'file = "images/{of}"')
        return next(n for n, text in enumerate(lines[here:], here + 1) if text.startswith(start))

    for start, part in [
        (f"warning study.toml:{line('a.png', 'condition')}:", "may hide pits"),
        (f"error study.toml:{line('size.png', 'region')}: small.png:", "20 x 20 px"),
        (f"error study.toml:{line('nomask.png', 'region')}: the region mask smal.png ", "'small.png'?"),
        (f"error study.toml:{line('black.png', 'region')}: black.png: the mask marks no specimen", ""),
        (f"error study.toml:{line('text.png')}: images/text.png: the content is of no format", ""),
        (f"error study.toml:{line('gone.png')}: images/gone.png is missing.", "Did you mean 'gone1.png'?"),
        (f"error study.toml:{line('twin.png', 'cleanning')}: unknown key 'cleanning'", "'cleaning'"),
        (f"error study.toml:{line('again.png')}: images/again.png holds the same picture as images/a", ""),
        (f"warning study.toml:{line('plain.png')}: images/plain.png: No usable scale", "Add pixel_size_um"),
        (f"warning study.toml:{line('plain.png') - 1}: images/plain.png does not state the condition", ""),
        (f"warning study.toml:{line('plain.png') - 1}: images/plain.png does not state how the field", ""),
        ("warning study.toml:4: group 'g' has 1 specimen.", "3 or more"),
        ("warning study.toml: 1 image in the folder is not in the study (images/gone1.png)", ""),
        ("warning study.toml: 1 file is named as an image but can be read as none (spare.jpg)", "again"),
    ]:  # fmt: skip
        assert [f for f in found if f.startswith(start) and part in f], (start, found)


def test_the_design_of_the_study(make_study: MakeStudy) -> None:
    head = (
        '[[group]]\nname = "control"\n[[group]]\nname = "empty"\n'
        '[[specimen]]\nid = "c"\ngroup = "control"\nexposure_h = 5\n[[specimen]]\nid = "u"\ngroup = "g"\n'
    )
    folder = make_study({"a.png": 200}, {"a.png": SOUND.replace("random", "worst_seen")}, head)
    manifest = folder / "study.toml"
    manifest.write_text(manifest.read_text().replace('name = "g"', 'name = "g"\nbaseline = "control"'))
    found = _found(folder)
    for start in (
        "warning study.toml:5: baseline 'control' holds exposed specimens (c).",
        "warning study.toml:7: specimen 's' has only worst-seen fields",
        "warning study.toml:13: group 'empty' has 0 specimens. Take it out",
        "warning study.toml:15: specimen 'c' has no image",
        "warning study.toml:19: specimen 'u' does not state its exposure",
    ):
        assert [f for f in found if f.startswith(start)], (start, found)


def test_a_fault_starts_no_tale_about_what_hangs_on_it(make_study: MakeStudy) -> None:
    """A faulty specimen is still in its group, a faulty image is still of its specimen."""
    folder = make_study({"a.png": 200}, {"a.png": SOUND + "colour = 1"}, REPLICATES)
    manifest = folder / "study.toml"
    text = manifest.read_text().replace("exposure_h = 168", 'exposure_h = "long"', 1)
    manifest.write_text(text)
    found = _found(folder)
    assert [f for f in found if "unknown key 'colour'" in f] and [f for f in found if "exposure_h" in f]
    assert not [f for f in found if "group 'g' has" in f or "'s' has no image" in f]
    manifest.write_text(
        text.replace('specimen = "s"', 'specimen = "z"').replace('group = "g"', 'group = "h"')
    )
    assert not [f for f in _found(folder) if "group 'g' has" in f or "has no image" in f]


def test_specimens_that_cannot_be_read_leave_no_group_empty(make_study: MakeStudy) -> None:
    folder = make_study({}, {}, "")
    (folder / "study.toml").write_text('specimens_csv = "gone.csv"\n[[group]]\nname = "g"\n')
    found = _found(folder)
    assert [f for f in found if "there is no file 'gone.csv'" in f] and not [
        f for f in found if "group 'g'" in f
    ]


def test_says_what_is_cleaned_how(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200}, {"a.png": SOUND.replace("cleaning", "note")})
    [number] = _lines(folder, 'condition = "cleaned"')
    said = f"warning study.toml:{number}: images/a.png does not say how it was cleaned"
    assert [f for f in _found(folder) if f.startswith(said)]


def test_a_study_without_images(make_study: MakeStudy) -> None:
    assert "error study.toml: the study names no image. Add [[image]] tables." in _found(make_study({}))


def test_height_maps_that_stand_nowhere_are_named(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200}, {"a.png": SOUND})
    heights = np.random.default_rng(0).normal(0, 0.1, (20, 18))
    write_x3p(folder / "b.x3p", heights, 0.5)
    np.savetxt(folder / "c.csv", heights, "%.4f", ",")
    (folder / "masses.csv").write_text("specimen,mass_g\ns,1.25\n")
    said = "warning study.toml: 2 images in the folder are not in the study (b.x3p, c.csv)"
    assert [f for f in _found(folder) if f.startswith(said)]


HEIGHTS = 'shows = "heights"\ncondition = "cleaned"\ncleaning = "acid"\nfield_choice = "random"\n'


def test_height_maps_are_opened_as_such(
    make_study: MakeStudy, write_image: Callable[..., None], write_heights: Callable[..., None]
) -> None:
    extra = {
        "sound.tif": HEIGHTS + 'datum = "stripe.png"',
        "sound2.tif": HEIGHTS + 'unexposed = "before.tif"',
        "unsaid.tif": SOUND,
        "said.tif": SOUND + 'shows = "surface"',
        "scale.tif": HEIGHTS,
        "stripe.tif": HEIGHTS + 'datum = "small.png"',
        "dark.tif": HEIGHTS + 'datum = "dark.png"',
        "lost.tif": HEIGHTS + 'datum = "strip.png"',
        "grid.tif": HEIGHTS + 'unexposed = "small.tif"',
        "pitch.tif": HEIGHTS + 'unexposed = "coarse.tif"',
        "colour.tif": HEIGHTS + "pixel_size_um = 0.5",
    }
    folder = make_study(dict.fromkeys(extra, 200), extra)
    for seed, name in enumerate(extra):
        write_heights(folder / "images" / name, seed, pixel_size_um=None if name == "scale.tif" else 0.5)
    for name, size, pixel_size_um in (("before", 40, 0.5), ("small", 30, 0.5), ("coarse", 40, 0.6)):
        write_heights(folder / f"{name}.tif", 99, size, pixel_size_um)
    for name, size in (("stripe", 40), ("small", 20)):
        write_image(folder / f"{name}.png", size=size)
    (folder / "dark.png").write_bytes(cv2.imencode(".png", np.zeros((40, 40), np.uint8))[1].tobytes())
    colour = np.arange(40 * 40 * 3, dtype=np.uint8).reshape(40, 40, 3)
    (folder / "images/colour.tif").write_bytes(cv2.imencode(".png", colour)[1].tobytes())
    found = _found(folder)
    for start in (
        'error study.toml: images/unsaid.tif: the file holds heights, not brightness. Add shows = "heights"',
        "warning study.toml: images/said.tif: Floating-point pixels, by themselves heights in µm",
        "warning study.toml: images/scale.tif: No usable scale",
        "error study.toml: small.png: the mask is 20 x 20 px",
        "error study.toml: dark.png: the mask marks no datum. Draw what was covered with values above 0",
        "error study.toml: the datum mask strip.png is missing. Did you mean 'stripe.png'?",
        "error study.toml: small.tif: the unexposed height map is 30 x 30 px, the exposed one 40 x 40 px",
        "error study.toml: coarse.tif: the unexposed height map has pixels of 0.6 x 0.6 µm, the exposed one",
        "error study.toml: images/colour.tif: a colour image cannot be a height map",
    ):
        assert [f for f in found if re.sub(r":\d+:", ":", f, count=1).startswith(start)], (start, found)
    assert not [f for f in found if "sound" in f or "before.tif" in f or "not in the study" in f]


def test_a_page_named_twice_is_one_picture(make_study: MakeStudy) -> None:
    folder = make_study({"a.png": 200})
    manifest = folder / "study.toml"
    manifest.write_text(manifest.read_text() + '[[image]]\nfile = "images/a.png"\nspecimen = "s"\npage = 0\n')
    assert [f for f in _found(folder) if "images/a.png#0 holds the same picture as images/a.png" in f]


def test_no_study_at_all(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no study here"):
        check_study(tmp_path)
