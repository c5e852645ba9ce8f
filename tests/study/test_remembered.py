"""What the viewer remembers of a study survives, and never stands in the way."""

import errno
from pathlib import Path

import pytest

from surfscan.study.remembered import FILE_NAME, Remembered, read_remembered, remember


def test_round_trip(tmp_path):
    """Everything comes back as it was, odd characters and all."""
    name = 'A. "Bee" \\ Ö\u2028\x07'
    remember(tmp_path, reviewer=name, last_image="a/b.tif#2")
    remember(tmp_path, options={"hide settled": True, "opacity": 0.5, "order": "doubtful", "k": 3})
    remember(tmp_path, options={"k": 4})
    assert read_remembered(tmp_path) == Remembered(
        name, "a/b.tif#2", {"hide settled": True, "opacity": 0.5, "order": "doubtful", "k": 4}
    )
    assert [p.name for p in tmp_path.iterdir()] == [FILE_NAME]


@pytest.mark.parametrize(
    "text", [b"", b"reviewer = 3\noptions = 7", b"not toml [", b"\xff\xfe", b"[options]\na = [1]\n"]
)
def test_what_cannot_be_understood_is_left_at_its_default(tmp_path, text):
    """A damaged or foreign file costs the memory, no more."""
    (tmp_path / FILE_NAME).write_bytes(text)
    assert read_remembered(tmp_path) == Remembered()
    remember(tmp_path, reviewer="B")
    assert read_remembered(tmp_path).reviewer == "B"


def test_each_study_its_own(tmp_path):
    """Nothing is shared between studies."""
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        remember(tmp_path / name, reviewer=name)
    assert read_remembered(tmp_path / "one").reviewer == "one"


def test_nothing_changed_writes_nothing(tmp_path):
    """The file is left alone where it says the same already."""
    remember(tmp_path, reviewer="B")
    before = (tmp_path / FILE_NAME).stat().st_mtime_ns
    remember(tmp_path, reviewer="B")
    assert (tmp_path / FILE_NAME).stat().st_mtime_ns == before


def test_study_that_cannot_be_written(tmp_path):
    """A folder that is gone or read-only can still be looked at."""
    assert remember(tmp_path / "gone", reviewer="B").reviewer == "B"


def test_read_only_disk(tmp_path, monkeypatch):
    """Where a draft can be neither written nor removed, the study can be looked at all the same."""

    def refused(*_, **__):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(Path, "write_text", refused)
    monkeypatch.setattr(Path, "unlink", refused)
    assert remember(tmp_path, reviewer="A. Tester").reviewer == "A. Tester"
    assert read_remembered(tmp_path).reviewer == ""
