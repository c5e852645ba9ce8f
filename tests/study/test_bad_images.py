"""A batch of bad images with the real procedures: each a clear message, none a traceback, the rest done."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile

from surfscan.loaders.sdf_writer import write_sdf
from surfscan.loaders.x3p_writer import write_x3p
from surfscan.store.results import ResultsStore
from surfscan.study.batch import measure_study
from surfscan.study.check import check_study

pytestmark = pytest.mark.slow


def _metal(rows: int = 160, cols: int = 160) -> np.ndarray:
    rng = np.random.default_rng(0)
    grey = 170 + rng.normal(0, 3, (rows, cols))
    row, col = np.mgrid[:rows, :cols]
    for centre in ((40, 40), (90, 60), (60, 120)):
        grey[np.hypot(row - centre[0], col - centre[1]) < 6] -= 80
    return np.clip(grey, 0, 255).astype(np.uint8)


def _png(pixels: np.ndarray) -> bytes:
    return cv2.imencode(".png", pixels)[1].tobytes()


def _tif(path: Path, pixels: np.ndarray) -> bytes:
    tifffile.imwrite(path, pixels)
    return path.read_bytes()


def test_bad_images_fail_by_name_and_the_rest_is_done(make_study: Callable[..., Path]) -> None:
    bad = ["cut.tif", "cut.png", "corrupt.tif", "corrupt.png", "empty.png", "text.tif", "one.png", "nan.tif",
           "black.png", "wide.png", "mask.png", "gone.png"]  # fmt: skip
    folder = make_study(
        dict.fromkeys([*bad, "good.png", "fine.tif"], 200),
        dict.fromkeys([*bad, "good.png", "fine.tif"], "pixel_size_um = 0.5")
        | {"mask.png": 'region = "region.png"'},
    )
    images, whole = folder / "images", _metal()
    (images / "good.png").write_bytes(_png(whole))
    tif = _tif(images / "fine.tif", whole)
    (folder / "region.png").write_bytes(_png(np.full((80, 160), 255, np.uint8)))
    noise = np.random.default_rng(1).bytes(200)
    for name, content in {
        "cut.tif": tif[: len(tif) // 2],
        "cut.png": _png(whole)[:3000],
        "corrupt.tif": tif[:8] + noise + tif[208:-300] + noise + noise[:100],
        "corrupt.png": _png(whole)[:400] + noise + _png(whole)[600:],
        "empty.png": b"",
        "text.tif": b"Exposure log, day 7\n" * 20,
        "one.png": _png(np.full((1, 1), 100, np.uint8)),
        "nan.tif": _tif(images / "nan.tif", np.full((50, 50), np.nan, np.float32)),
        "black.png": _png(np.zeros((120, 120), np.uint8)),
        "wide.png": _png(_metal(20, 60_000)),
        "mask.png": _png(whole),
    }.items():
        (images / name).write_bytes(content)
    (images / "gone.png").unlink()

    outcome = measure_study(folder, workers=2)
    failed = dict(outcome.failed)
    for name in set(bad) - {"black.png", "wide.png"}:
        assert f"images/{name}" in failed, name
    assert {"images/good.png", "images/fine.tif"} <= set(outcome.done)
    assert len(outcome.done) + len(failed) == len(bad) + 2
    for message in failed.values():
        assert "unexpected" not in message and "died" not in message and message.endswith((".", "?"))
    for stored in ResultsStore(folder).all():
        if stored.image_id == "images/black.png" and stored.status == "done":
            assert stored.warnings
    found = [str(f) for f in check_study(folder) if f.severity == "error"]
    for name in ("cut.tif", "cut.png", "empty.png", "text.tif", "nan.tif", "gone.png", "mask.png"):
        named = "region.png" if name == "mask.png" else f"images/{name}"
        assert any(named in text for text in found), name


def test_bad_height_maps_fail_by_name_and_the_rest_is_done(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    sound = rng.normal(0, 0.05, (120, 130))
    row, col = np.mgrid[:120, :130]
    for centre in ((40, 40), (80, 90)):
        sound -= 4 * np.clip(1 - np.hypot(row - centre[0], col - centre[1]) ** 2 / 100, 0, None)
    write_x3p(tmp_path / "good.x3p", sound, 0.5)
    write_sdf(tmp_path / "fine.sdf", sound, 0.5, form="binary")
    whole = (tmp_path / "good.x3p").read_bytes()
    (tmp_path / "cut.x3p").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "cut.sdf").write_bytes((tmp_path / "fine.sdf").read_bytes()[:900])
    (tmp_path / "text.x3p").write_text("Exposure log, day 7\n" * 20)
    (tmp_path / "picture.png").write_bytes(_png(np.dstack([_metal()] * 2 + [_metal() // 2])))
    few = np.full((120, 130), np.nan)
    few[60, 60:64] = 1.0
    odd = {"nan": np.full((40, 40), np.nan), "few": few, "flat": np.zeros((60, 60)), "one": np.ones((1, 1))}
    for name, heights in odd.items():
        np.save(tmp_path / f"{name}.npy", heights)
    mask = np.zeros((120, 130), np.uint8)
    (tmp_path / "empty.png").write_bytes(_png(mask))
    (tmp_path / "all.png").write_bytes(_png(mask + 1))
    bad = {
        **dict.fromkeys(
            ("cut.x3p", "cut.sdf", "text.x3p", "picture.png", "nan.npy", "few.npy", "gone.x3p"), ""
        ),
        "good.x3p": 'datum = "empty.png"',
        "fine.sdf": 'datum = "all.png"',
    }
    text = 'title = "T"\n[[group]]\nname = "g"\n[[specimen]]\nid = "s"\ngroup = "g"\n'
    for name, extra in {**bad, "flat.npy": "", "one.npy": ""}.items():
        text += (
            f'[[image]]\nfile = "{name}"\nspecimen = "s"\nshows = "heights"\npixel_size_um = 0.5\n{extra}\n'
        )
    (tmp_path / "study.toml").write_text(text)

    outcome = measure_study(tmp_path, workers=1)
    failed = dict(outcome.failed)
    assert set(bad) <= set(failed)
    for message in failed.values():
        assert "unexpected" not in message and "died" not in message and message.endswith((".", "?"))
    done = {(r.image_id, r.procedure): r for r in ResultsStore(tmp_path).all() if r.status == "done"}
    assert ("good.x3p", "texture") in done and ("fine.sdf", "texture") in done  # only their pits failed
    for name in ("flat.npy", "one.npy"):
        assert name in failed or all(r.warnings for (image, _), r in done.items() if image == name)
    found = [str(f) for f in check_study(tmp_path) if f.severity == "error"]
    for name in ("cut.x3p", "cut.sdf", "text.x3p", "picture.png", "nan.npy", "gone.x3p", "empty.png"):
        assert any(name in text for text in found), name
