"""Hashes remembered by size and time of change, for lists on a screen."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from surfscan.study import file_hashes
from surfscan.study.file_hashes import FILE_NAME, FileHashes


@pytest.fixture
def old_file(tmp_path: Path) -> Path:
    """A file that has not changed for long."""
    path = tmp_path / "a.png"
    path.write_bytes(b"one")
    os.utime(path, (1e9, 1e9))
    return path


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def test_a_file_is_read_once_over_many_sessions(old_file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    hashes = FileHashes(old_file.parent)
    assert hashes.known("a.png") is None
    assert hashes.of("a.png") == _sha256(b"one")
    hashes.keep()
    monkeypatch.setattr(file_hashes, "file_sha256", lambda path: pytest.fail("read again"))
    later = FileHashes(old_file.parent)
    assert later.known("a.png") == later.of("a.png") == _sha256(b"one")
    later.keep()


def test_a_file_that_changed_is_read_again(old_file: Path) -> None:
    hashes = FileHashes(old_file.parent)
    hashes.of("a.png")
    old_file.write_bytes(b"two")
    os.utime(old_file, (1e9 + 1, 1e9 + 1))
    assert hashes.known("a.png") is None
    assert hashes.of("a.png") == _sha256(b"two")


def test_a_file_just_written_is_not_remembered(tmp_path: Path) -> None:
    """It may change again within one tick of the file system's clock, with the same size."""
    (tmp_path / "a.png").write_bytes(b"one")
    hashes = FileHashes(tmp_path)
    assert hashes.of("a.png") == _sha256(b"one")
    assert hashes.known("a.png") is None
    hashes.keep()
    assert not (tmp_path / FILE_NAME).exists()


def test_a_missing_file_has_none(tmp_path: Path) -> None:
    hashes = FileHashes(tmp_path)
    assert hashes.of("no.png") is None and hashes.known("no.png") is None


@pytest.mark.parametrize("content", ["", "[1]", "{", '{"a.png": 3}', '{"a.png": [3, 1, 2, 4]}', "\udcff"])
def test_a_damaged_memory_is_made_again(old_file: Path, content: str) -> None:
    (old_file.parent / FILE_NAME).write_bytes(content.encode("utf-8", "surrogateescape"))
    hashes = FileHashes(old_file.parent)
    assert hashes.of("a.png") == _sha256(b"one")
    hashes.keep()
    assert FileHashes(old_file.parent).known("a.png") == _sha256(b"one")
    assert [p.name for p in old_file.parent.iterdir() if p.name.endswith(".part")] == []


def test_a_folder_that_cannot_be_written_is_no_fault(old_file: Path) -> None:
    (old_file.parent / FILE_NAME).mkdir()
    hashes = FileHashes(old_file.parent)
    assert hashes.of("a.png") == _sha256(b"one")
    hashes.keep()
