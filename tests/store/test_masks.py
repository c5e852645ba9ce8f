"""Masks on disk: exact, small, checked."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile

from surfscan.errors import InputError
from surfscan.store.masks import (
    FOLDER,
    free_name,
    mask_fault,
    own_files,
    place_mask,
    read_mask,
    stage_mask,
    temporary_files,
)


def _store(folder: Path, mask: np.ndarray) -> tuple[Path, str]:
    staged = stage_mask(folder, "images/U07-1 a.ome.tif#2", "pits", "for_review", mask)
    place_mask(folder, staged)
    return folder / FOLDER / staged.file_name, staged.sha256


@pytest.mark.parametrize(
    ("top", "dtype"),
    [(1, np.uint8), (255, np.uint8), (256, np.uint16), (65535, np.uint16), (65536, np.uint32)],
)
def test_labels_come_back_exactly(tmp_path: Path, top: int, dtype: type) -> None:
    labels = np.random.default_rng(0).integers(0, top + 1, (70, 33)).astype(np.int32)
    labels[0, 0] = top
    path, sha256 = _store(tmp_path, labels)
    back = read_mask(path, sha256)
    assert back.dtype == dtype
    np.testing.assert_array_equal(back, labels)
    if dtype is not np.uint32:  # an independent reader agrees
        np.testing.assert_array_equal(cv2.imread(str(path), cv2.IMREAD_UNCHANGED), labels)


def test_bool_becomes_0_and_1_and_is_compressed(tmp_path: Path) -> None:
    region = np.zeros((500, 500), bool)
    region[100:200] = True
    path, sha256 = _store(tmp_path, region)
    np.testing.assert_array_equal(read_mask(path, sha256), region)
    assert path.stat().st_size < 5000
    with tifffile.TiffFile(path) as file:
        assert file.pages[0].compression.name == "ADOBE_DEFLATE"
        assert "DateTime" not in file.pages[0].tags


def test_same_mask_same_file(tmp_path: Path) -> None:
    mask = np.random.default_rng(0).integers(0, 2, (50, 50)).astype(bool)
    first, _ = _store(tmp_path, mask)
    content = first.read_bytes()
    second, _ = _store(tmp_path, mask)
    assert first == second and second.read_bytes() == content
    assert own_files(tmp_path) == [first] and temporary_files(tmp_path) == []


def test_images_of_one_name_in_two_folders_have_two_masks(tmp_path: Path) -> None:
    mask = np.ones((4, 4), bool)
    names = {stage_mask(tmp_path, f"{n}/x.png", "pits", "region", mask).file_name for n in "ab"}
    assert len(names) == 2 and all(name.startswith("x-") for name in names)
    assert len(temporary_files(tmp_path)) == 2


def test_negative_labels_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="negative"):
        stage_mask(tmp_path, "a", "pits", "pits", np.array([[-1]], np.int32))


def test_changed_and_missing_masks(tmp_path: Path) -> None:
    path, sha256 = _store(tmp_path, np.ones((4, 4), bool))
    assert mask_fault(path, sha256) is None
    path.write_bytes(path.read_bytes() + b"!")
    with pytest.raises(InputError, match="checksum does not match"):
        read_mask(path, sha256)
    path.unlink()
    with pytest.raises(InputError, match="missing"):
        read_mask(path, sha256)


def test_a_changed_file_is_moved_out_of_the_way(tmp_path: Path) -> None:
    path, sha256 = _store(tmp_path, np.ones((4, 4), bool))
    for number in (1, 2):
        path.write_bytes(b"changed %d" % number)
        kept = place_mask(
            tmp_path,
            stage_mask(tmp_path, "images/U07-1 a.ome.tif#2", "pits", "for_review", np.ones((4, 4), bool)),
        )
        assert kept is not None and kept.read_bytes() == b"changed %d" % number
        assert kept.name.endswith(f"-changed-{number}.tif")
        assert mask_fault(path, sha256) is None
    assert free_name(path, "changed").name.endswith("-changed-3.tif")
