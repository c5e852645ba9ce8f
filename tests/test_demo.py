"""The demo study: found in a checkout and in an installation, copied with care, compared with the truth."""

from pathlib import Path

import pytest

from surfscan import demo
from surfscan.errors import InputError

ROOT = Path(__file__).resolve().parents[1]


def test_found_in_the_checkout():
    """Beside the package, where a checkout keeps it."""
    assert demo.sample_folder() == ROOT / "sample_images"


def _installation(tmp_path, monkeypatch):
    package = tmp_path / "site" / "surfscan"
    package.mkdir(parents=True)
    monkeypatch.setattr(demo, "__file__", str(package / "demo.py"))
    return package


def test_found_in_an_installation(tmp_path, monkeypatch):
    """Inside the package, where a wheel puts it; that place comes first."""
    package = _installation(tmp_path, monkeypatch)
    for folder in (package / "_sample_images", package.parent / "sample_images"):
        folder.mkdir()
        (folder / "study.toml").touch()
    assert demo.sample_folder() == package / "_sample_images"


def test_found_nowhere(tmp_path, monkeypatch):
    """An installation without it says so."""
    _installation(tmp_path, monkeypatch)
    with pytest.raises(InputError, match="the demo study is not in this installation"):
        demo.sample_folder()


def test_copy_is_whole_and_small(tmp_path):
    """Every part is copied, byte for byte, nothing else, and all of it is under 8 MB."""
    study = demo.copy_study(tmp_path / "new" / "demo")
    copied = sorted(p.relative_to(study.parent) for p in study.parent.rglob("*") if p.is_file())
    source = demo.sample_folder()
    data = [f"{name}/{p.name}" for name in ("images", "heights") for p in (source / name).iterdir()]
    wanted = ["study.toml", "truth.csv", *data]
    assert copied == sorted(map(Path, wanted))
    assert all((study.parent / p).read_bytes() == (source / p).read_bytes() for p in copied)
    assert sum((study.parent / p).stat().st_size for p in copied) < 8_000_000


def test_copy_goes_on_in_its_own_folder(tmp_path):
    """A copy that was interrupted is completed; a whole one, with its results, is left as it is."""
    (tmp_path / "images").mkdir()
    study = demo.copy_study(tmp_path)
    (tmp_path / "results.sqlite").write_bytes(b"results")
    image = next((tmp_path / "images").iterdir())
    image.unlink()
    assert demo.copy_study(tmp_path) == study
    assert (tmp_path / "results.sqlite").read_bytes() == b"results"
    assert not image.exists()


@pytest.mark.parametrize(
    ("name", "fault"), [("notes.txt", "holds something other"), ("study.toml", "holds another study")]
)
def test_foreign_folder_is_refused(tmp_path, name, fault):
    """A folder with anything else in it stays as it is."""
    (tmp_path / name).write_text("mine")
    with pytest.raises(InputError, match=fault):
        demo.copy_study(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == [name]


def test_file_in_place_of_a_folder(tmp_path):
    """A file of that name is not replaced."""
    (tmp_path / "demo").write_text("mine")
    with pytest.raises(InputError, match="is a file"):
        demo.copy_study(tmp_path / "demo")
