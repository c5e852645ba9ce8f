"""Images are told by their content; surfscan's own files are left out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from surfscan.store.masks import place_mask, stage_mask
from surfscan.study.folder import find_false_images, find_images


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
