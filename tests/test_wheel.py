"""The wheel as a stranger gets it: built, installed into a clean environment, and the demo run from it."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

pytestmark = pytest.mark.slow


def _run(*command: str | Path, folder: Path) -> str:
    """Output of a command that must succeed, run in `folder` with nothing of this environment showing."""
    environment = {k: v for k, v in os.environ.items() if k not in {"PYTHONPATH", "VIRTUAL_ENV", "DISPLAY"}}
    done = subprocess.run(
        [str(part) for part in command], capture_output=True, text=True, cwd=folder, env=environment
    )
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """The wheel of this checkout."""
    folder = tmp_path_factory.mktemp("wheel")
    _run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, ROOT, folder=folder)
    (built,) = folder.glob("surfscan-*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    """Folder of the programs of a clean environment that holds the wheel and what it asks for."""
    home = tmp_path_factory.mktemp("clean")
    _run(sys.executable, "-m", "venv", home / "venv", folder=home)
    programs = home / "venv" / ("Scripts" if os.name == "nt" else "bin")
    _run(programs / "python", "-m", "pip", "install", "-q", wheel, folder=home)
    return programs


def test_wheel_holds_what_it_should(wheel):
    """Both packages, the demo study with its truth and the licence are in; tests and results are not."""
    names = zipfile.ZipFile(wheel).namelist()
    for needed in (
        "surfscan/cli/app.py",
        "surfscan/py.typed",
        "surfscan/materials/catalogue.toml",
        "surfscan/_sample_images/study.toml",
        "surfscan/_sample_images/truth.csv",
        "surfscan/_sample_images/truth_rates.csv",
        "napari_surfscan/__init__.py",
        "napari_surfscan/napari.yaml",
    ):
        assert needed in names
    for folder in ("images", "heights", "struts", "sections", "sweeps", "logs"):
        start = f"surfscan/_sample_images/{folder}/"
        held = {name.removeprefix(start) for name in names if name.startswith(start)}
        assert held == {path.name for path in (ROOT / "sample_images" / folder).iterdir()}
    assert any(name.endswith("licenses/LICENSE") for name in names)
    tops = {name.split("/")[0] for name in names if ".dist-info" not in name}
    assert tops == {"surfscan", "napari_surfscan"}
    assert not [name for name in names if name.endswith((".sqlite", ".html.part", ".pyc"))]


def test_demo_runs_from_the_wheel(installed, tmp_path):
    """Away from the checkout, `surfscan demo` measures, reports, and holds figures against the truth."""
    where = _run(installed / "python", "-c", "import surfscan; print(surfscan.__file__)", folder=tmp_path)
    assert Path(where.strip()).is_relative_to(installed.parent)
    said = _run(installed / "surfscan", "demo", "out", "--against-truth", folder=tmp_path)
    assert "report.html" in said
    assert (tmp_path / "out" / "report.html").stat().st_size > 10_000
    assert (tmp_path / "out" / "results.sqlite").is_file()


def test_core_install_brings_no_screen(installed, tmp_path):
    """Without the viewer extra no napari and no Qt comes in."""
    listed = _run(installed / "python", "-m", "pip", "list", "--format=freeze", folder=tmp_path).lower()
    assert "napari" not in listed
    assert "pyside" not in listed


def test_samples_of_the_viewer_come_from_the_wheel(installed, tmp_path):
    """The viewer's sample data are found away from the checkout, at scale, without a screen."""
    code = (
        "from napari_surfscan import samples\n"
        "for sample in (samples.surface, samples.heights, samples.strut, samples.section):\n"
        "    ((data, keywords, kind),) = sample()\n"
        "    print(kind, data.ndim >= 2, keywords['units'][0])\n"
    )
    assert _run(installed / "python", "-c", code, folder=tmp_path).split("\n")[:4] == ["image True um"] * 4
