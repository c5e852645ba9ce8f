"""The demo study: found in a checkout and in an installation, copied with care, compared with the truth."""

import re
import shutil
from pathlib import Path

import pytest

from surfscan import demo
from surfscan.errors import InputError
from surfscan.study.batch import measure_study

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
    data = [f"{name}/{p.name}" for name in demo.FOLDERS for p in (source / name).iterdir()]
    wanted = ["study.toml", "truth.csv", "truth_rates.csv", *data]
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


def test_figures_beside_the_truth_for_each_kind_of_image_apart(tmp_path):
    """An image of every kind, measured; every figure that has a true value is shown beside it."""
    source = demo.sample_folder()
    files = (
        "images/S28-1_a.jpg",
        "heights/S28-1_h.ome.tif",
        "struts/U28-3_strut.jpg",
        "sections/U28-2_section.jpg",
    )
    head, *blocks = (source / "study.toml").read_text(encoding="utf-8").split("[[image]]")
    kept = [block for block in blocks if any(f'file = "{file}"' in block for file in files)]
    (tmp_path / "study.toml").write_text("[[image]]".join([head, *kept]), encoding="utf-8")
    header, *rows = (source / "truth.csv").read_text(encoding="utf-8").splitlines()
    known = [row for row in rows if row.startswith(files)]
    (tmp_path / "truth.csv").write_text("\n".join([header, *known]), encoding="utf-8")
    for file in files:
        (tmp_path / file).parent.mkdir()
        shutil.copyfile(source / file, tmp_path / file)
    assert measure_study(tmp_path, workers=1).done == list(files)
    pictures, maps, struts, sections = demo.against_truth(tmp_path).split("\n\nmeasured / true")
    assert (
        pictures.startswith("measured / true") and "degraded area %" in pictures and "depth" not in pictures
    )
    assert "greatest depth µm  ten deepest µm  volume per area µm  Sq µm" in maps.splitlines()[0]
    pits, _, _, deepest, _, volume, roughness = _pairs(maps, files[1])
    assert pits == ("3", "3")
    for measured, true in (deepest, volume, roughness):
        assert float(measured) == pytest.approx(float(true), rel=0.05)
    assert "greatest depth µm: +" in maps and "in all over 1 height map;" in maps
    for table, file, heading, figures in (
        (struts, files[2], "mean width µm", 4),
        (sections, files[3], "metal µm²", 5),
    ):
        assert heading in table.splitlines()[0]
        assert "in all over 1 strut picture" in table or "in all over 1 section picture" in table
        assert len(_pairs(table, file)) == figures
        for measured, true in _pairs(table, file)[:4]:
            assert float(measured) == pytest.approx(float(true), rel=0.02)


def _pairs(table: str, image: str) -> list[tuple[str, str]]:
    """Measured and true figures of an image, as they are shown."""
    line = next(line for line in table.splitlines() if line.startswith(image))
    return re.findall(r"(\S+) / (\S+)", line)


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
