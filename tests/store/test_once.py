"""Files that are there whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from surfscan.store.once import part_of, write_once


def test_a_file_stands_under_its_name_only(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    write_once(path, b"content", is_claimed=False)
    assert [p.name for p in tmp_path.iterdir()] == ["a.toml"] and path.read_bytes() == b"content"
    assert part_of(path).name == "a.toml.part"


def test_a_name_that_is_held_is_written_by_its_holder_alone(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    part_of(path).touch()
    with pytest.raises(FileExistsError):
        write_once(path, b"mine", is_claimed=False)
    assert not path.exists()
    write_once(path, b"content", is_claimed=True)
    assert path.read_bytes() == b"content" and not part_of(path).exists()


def test_what_cannot_be_written_leaves_no_name(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="gone"):
        write_once(tmp_path / "gone" / "a.toml", b"content", is_claimed=False)
