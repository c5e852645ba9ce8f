"""Images are told by their content; surfscan's own files are left out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from surfscan.loaders.sdf_writer import write_sdf
from surfscan.loaders.x3p_writer import write_x3p
from surfscan.store.masks import place_mask, stage_mask
from surfscan.study.folder import find_false_images, find_images, find_texts


def test_finds_images_and_nothing_else(tmp_path: Path, write_image: Callable[..., None]) -> None:
    wanted = ["a.png", "deep/er/b.dat", "masks/a_region.png"]
    for name in (*wanted, ".hidden/c.png", "tables/d.png", "other/e.png", "results-set-aside-1/f.png"):
        write_image(tmp_path / name)
    write_image(tmp_path / ".g.png")
    (tmp_path / "other/study.toml").write_text("")
    (tmp_path / "notes.png").write_text("no picture")
    (tmp_path / "empty.png").write_bytes(b"")
    place_mask(tmp_path, stage_mask(tmp_path, "a.png", "pits", "region", np.ones((4, 4), bool)))
    assert [p.relative_to(tmp_path).as_posix() for p in find_images(tmp_path)] == wanted
    assert [p.name for p in find_false_images(tmp_path)] == ["empty.png", "notes.png"]


def test_finds_height_maps_of_every_format(tmp_path: Path) -> None:
    heights = np.random.default_rng(0).normal(0, 0.1, (20, 18))
    write_sdf(tmp_path / "a.sdf", heights, 0.5)
    write_x3p(tmp_path / "b.x3p", heights, 0.5)
    np.save(tmp_path / "c.npy", heights)
    np.savetxt(tmp_path / "d.txt", heights, "%.4f")
    np.savetxt(tmp_path / "e.csv", heights, "%.4f", ";")
    (tmp_path / "specimens.csv").write_text("id,group,exposure_h\nP1,g,168\n")
    (tmp_path / "masses.csv").write_text("specimen,day,mass_g\nP1,7,1.25\nP1,14,1.22\n")
    (tmp_path / "potential.csv").write_text("time_s,potential_V,current_A\n0,-1.5,1e-6\n1,-1.49,1e-6\n")
    for name in ("f.sdf", "g.X3P", "h.csv"):
        (tmp_path / name).write_text("exposed on Monday")
    assert [p.name for p in find_images(tmp_path)] == ["a.sdf", "b.x3p", "c.npy", "d.txt", "e.csv"]
    assert [p.name for p in find_false_images(tmp_path)] == ["f.sdf", "g.X3P"]


def test_texts_are_found_by_name(tmp_path: Path) -> None:
    for name in ("b.txt", "a/c.csv", ".hidden.csv", "tables/t.csv", "x.png"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("1\n")
    assert find_texts(tmp_path) == [tmp_path / "a/c.csv", tmp_path / "b.txt"]
