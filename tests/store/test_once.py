"""Files that are there whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from surfscan.store.once import part_of, write_claimed, write_once


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


def test_two_files_are_written_together(tmp_path: Path) -> None:
    record, mask = tmp_path / "a.toml", tmp_path / "a.tif"
    part_of(record).touch()
    write_claimed(record, b"record", (mask, b"mask"))
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a.toml": b"record", "a.tif": b"mask"}


def test_nothing_stays_of_two_files_where_the_second_fails(tmp_path: Path) -> None:
    record, mask = tmp_path / "gone" / "a.toml", tmp_path / "a.tif"
    with pytest.raises(OSError, match="gone"):
        write_claimed(record, b"record", (mask, b"mask"))
    assert not list(tmp_path.iterdir())
