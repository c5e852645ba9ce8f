"""`surfscan pits` and `surfscan degraded` as a user calls them."""

import json
import subprocess
import sys

import numpy as np
import pytest
import tifffile

from surfscan.cli import main


@pytest.fixture
def image(tmp_path, pitted):
    """The pitted plate as a TIFF without scale."""
    path = tmp_path / "plate.tif"
    tifffile.imwrite(path, pitted, metadata=None)
    return path


def _json_on_stdout(capfd, *arguments):
    assert main([str(a) for a in (*arguments, "--json", "-")]) == 0
    return json.loads(capfd.readouterr().out)


def test_pits_with_stated_scale(image, tmp_path, capfd):
    """JSON, label image and count agree; the scale is the one stated."""
    labels = tmp_path / "labels.tif"
    got = _json_on_stdout(capfd, "pits", image, "--labels", labels, "--pixel-size-um", "0.5")
    drawn = tifffile.imread(labels)
    assert drawn.dtype == np.int32
    assert got["summary"]["pit_count"] == len(got["pits"]) == 4
    assert set(np.unique(drawn)) == {0, *(row["label"] for row in got["pits"])}
    assert got["calibration"]["pixel_size_x_um"] == 0.5
    assert got["source"]["sha256"]
    for row in got["pits"]:
        assert row["area_px"] == (drawn == row["label"]).sum()
        assert row["area_um2"] == pytest.approx(row["area_px"] * 0.25, rel=1e-6)


def test_pixels_that_are_not_square(image, capfd):
    """'X,Y' is pixel width, then height."""
    scale = _json_on_stdout(capfd, "pits", image, "--pixel-size-um", "0.5,0.6")["calibration"]
    assert (scale["pixel_size_x_um"], scale["pixel_size_y_um"]) == (0.5, 0.6)


def test_pits_without_scale(image, capfd):
    """Physical figures are null, px figures are there, and a warning says so."""
    got = _json_on_stdout(capfd, "pits", image)
    assert got["calibration"] is None
    assert got["summary"]["pit_density_per_mm2"] is None
    assert got["summary"]["pit_density_per_mpx"] > 0
    assert got["pits"][0]["area_um2"] is None
    assert got["pits"][0]["equivalent_diameter_px"] > 0
    assert any("scale" in warning for warning in got["warnings"])


def test_summary_in_the_terminal(image, capsys):
    """Without --json a person reads the count, the density and the scale."""
    assert main(["pits", str(image), "--pixel-size-um", "0.5"]) == 0
    shown = capsys.readouterr().out
    assert "4 pits" in shown
    assert "per mm² (95 % interval" in shown
    assert "0.5 µm per pixel" in shown


def test_json_file_leaves_stdout_empty(image, tmp_path, capsys):
    """With a file for the JSON nothing is on standard output; warnings go to standard error."""
    out = tmp_path / "pits.json"
    assert main(["pits", str(image), "--json", str(out)]) == 0
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith("warning: ")
    assert json.loads(out.read_text(encoding="utf-8"))["summary"]["pit_count"] == 4


def test_same_input_same_bytes(image, tmp_path, capfd):
    """Twice the same command gives the same JSON and the same label file, byte for byte."""
    made = []
    for name in ("a", "b"):
        main(["pits", str(image), "--labels", str(tmp_path / f"{name}.tif"), "--json", str(tmp_path / name)])
        made.append((tmp_path / name).read_bytes() + (tmp_path / f"{name}.tif").read_bytes())
    assert made[0] == made[1]


def test_region_and_settings(image, tmp_path, capfd):
    """A region halves the field and its pits; a settings file is obeyed and told back."""
    region = np.zeros((240, 300), np.uint8)
    region[:, :140] = 255
    tifffile.imwrite(tmp_path / "region.tif", region)
    (tmp_path / "s.toml").write_text("[pits]\nmin_contrast = 0.3\n")
    got = _json_on_stdout(
        capfd, "pits", image, "--region", tmp_path / "region.tif", "--settings", tmp_path / "s.toml"
    )
    assert got["settings"]["min_contrast"] == 0.3
    assert got["summary"]["pit_count"] == 2
    assert got["summary"]["field_area_px"] == 240 * 140


def test_degraded(image, tmp_path, capfd):
    """The degraded fraction lies in its interval and is that of the class map."""
    mask = tmp_path / "classes.tif"
    got = _json_on_stdout(capfd, "degraded", image, "--mask", mask, "--pixel-size-um", "1")
    low, high = got["summary"]["degraded_area_fraction_ci95"]
    assert low <= got["summary"]["degraded_area_fraction"] <= high
    drawn = tifffile.imread(mask)
    assert set(np.unique(drawn)) <= {0, 2}
    assert (drawn == 2).mean() == pytest.approx(got["summary"]["degraded_area_fraction"], abs=0.002)


@pytest.mark.parametrize("command", ["pits", "degraded"])
def test_grey_stored_as_colour_is_grey(command, image, tmp_path, pitted, capfd):
    """A grey picture that a camera program stored as RGB or RGBA gives the figures of the grey one."""
    grey = _json_on_stdout(capfd, command, image)["summary"]
    alpha = np.full_like(pitted, 255)
    for layers in ([pitted] * 3, [*[pitted] * 3, alpha]):
        path = tmp_path / f"{len(layers)}.tif"
        tifffile.imwrite(path, np.dstack(layers), photometric="rgb", metadata=None)
        assert _json_on_stdout(capfd, command, path)["summary"] == grey


def test_height_map_is_refused(tmp_path, pitted, capsys):
    """A single-channel float TIFF is a height map: refused with the way out, which works."""
    path = tmp_path / "heights.tif"
    tifffile.imwrite(path, pitted.astype(np.float32), metadata=None)
    assert main(["degraded", str(path)]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith(f"surfscan: {path}: is a height map")
    assert "--kind micrograph" in shown.err
    assert main(["degraded", str(path), "--kind", "micrograph"]) == 0


@pytest.fixture
def heightmap(tmp_path):
    """Rough metal with one pit 5 µm deep, as a float TIFF without scale."""
    row, col = np.mgrid[:128, :160]
    heights = np.random.default_rng(5).normal(12, 0.05, (128, 160))
    heights -= np.clip(5 * (1 - ((row - 60) ** 2 + (col - 100) ** 2) / 12**2), 0, None)
    path = tmp_path / "field.tif"
    tifffile.imwrite(path, heights.astype(np.float32), metadata=None)
    return path


def test_pits_of_a_height_map(heightmap, tmp_path, capfd):
    """Rows carry depth and volume and no contrast; the labels are those of the rows."""
    labels = tmp_path / "labels.tif"
    got = _json_on_stdout(capfd, "pits", heightmap, "--labels", labels, "--pixel-size-um", "0.5")
    assert got["summary"]["image_kind"] == "heightmap"
    (pit,) = got["pits"]
    assert pit["depth_um"] == pytest.approx(5, rel=0.05)
    assert pit["volume_um3"] == pytest.approx(np.pi / 2 * 6**2 * 5, rel=0.05)
    assert pit["depth_is_lower_bound"] is False
    assert "contrast" not in pit
    assert set(np.unique(tifffile.imread(labels))) == {0, 1}


def test_terminal_says_of_a_height_map_each_thing_once(heightmap, capsys):
    """The wording of the procedure's warnings is known to the terminal; the JSON has them in full."""
    assert main(["pits", str(heightmap)]) == 0
    text = capsys.readouterr().out
    assert "original level" in text and "uniform recession is not seen" in text
    assert "pitting factor" in text
    assert "Depths and volumes are" not in text and "No pitting factor" not in text
    assert text.count("No scale") + text.count("No usable scale") == 1


def test_height_unit_overrules_the_file(heightmap, capfd):
    """The same numbers in nm are a thousandth of them in µm."""
    got = _json_on_stdout(capfd, "pits", heightmap, "--pixel-size-um", "0.5", "--height-unit", "nm")
    assert got["summary"]["max_depth_um"] == pytest.approx(5e-3, rel=0.05)


def test_datum_and_unexposed_map(heightmap, tmp_path, capfd):
    """A mask of protected surface, and the map from before, show the original level."""
    after = tifffile.imread(heightmap)
    datum = np.zeros(after.shape, np.uint8)
    datum[:, :40] = 255
    tifffile.imwrite(tmp_path / "datum.tif", datum, metadata=None)
    tifffile.imwrite(tmp_path / "after.tif", np.where(datum > 0, after + 2, after), metadata=None)
    masked = ("--pixel-size-um", "0.5", "--datum", tmp_path / "datum.tif")
    got = _json_on_stdout(capfd, "pits", tmp_path / "after.tif", *masked)["summary"]
    assert got["original_level"] == "masked datum"
    assert got["max_penetration_um"] == pytest.approx(7, rel=0.05)
    before = tmp_path / "before.tif"
    tifffile.imwrite(before, np.full(after.shape, 14, np.float32), metadata=None)
    got = _json_on_stdout(capfd, "pits", tmp_path / "after.tif", *masked, "--unexposed", before)["summary"]
    assert got["original_level"] == "unexposed surface"


def test_what_only_a_height_map_can_have_is_refused_on_a_picture(image, capsys):
    """An option that would do nothing is an error, not passed over."""
    assert main(["pits", str(image), "--datum", str(image), "--unexposed", str(image)]) == 2
    assert "--datum and --unexposed can be used on a height map only" in capsys.readouterr().err


def _bad(tmp_path, kind, image):
    path = tmp_path / f"{kind}.tif"
    if kind == "empty":
        path.write_bytes(b"")
    elif kind == "text":
        path.write_text("not a picture")
    elif kind == "truncated":
        path.write_bytes(image.read_bytes()[:900])
    elif kind == "folder":
        path.mkdir()
    return path


@pytest.mark.parametrize("kind", ["missing", "empty", "text", "truncated", "folder"])
def test_bad_images(kind, tmp_path, image, capsys):
    """Every kind of bad file: exit 2, one message that names the file, no traceback, no output file."""
    path = _bad(tmp_path, kind, image)
    out = tmp_path / "out.json"
    assert main(["pits", str(path), "--json", str(out)]) == 2
    shown = capsys.readouterr()
    assert shown.err.startswith(f"surfscan: {path}: ")
    assert "Traceback" not in shown.err
    assert not out.exists()


@pytest.mark.parametrize("size", ["0", "-1", "nan", "inf"])
def test_impossible_pixel_size(size, image, capsys):
    """A pixel size that cannot be is refused by name."""
    assert main(["pits", str(image), f"--pixel-size-um={size}"]) == 2
    assert "pixel size" in capsys.readouterr().err.lower().replace("_", " ").replace("-", " ")


def test_outputs_are_guarded(image, tmp_path, capsys):
    """The image is not overwritten and a missing folder is named, before any work."""
    before = image.read_bytes()
    assert main(["pits", str(image), "--labels", str(image)]) == 2
    assert "would overwrite the image itself" in capsys.readouterr().err
    assert image.read_bytes() == before
    assert main(["pits", str(image), "--json", str(tmp_path / "none" / "x.json")]) == 2
    assert "does not exist" in capsys.readouterr().err


def test_region_of_another_size(image, tmp_path, capsys):
    """A mask of another size is refused with both sizes."""
    tifffile.imwrite(tmp_path / "small.tif", np.ones((24, 30), np.uint8))
    assert main(["pits", str(image), "--region", str(tmp_path / "small.tif")]) == 2
    assert "24 x 30" in capsys.readouterr().err


def test_commands_stay_off_heavy_libraries(image, tmp_path):
    """Running both commands, outputs included, loads neither tables, plots nor the slow parts of scipy."""
    outputs = [str(tmp_path / name) for name in ("l.tif", "p.json", "m.tif", "d.json")]
    code = (
        "import sys\nfrom surfscan.cli import main\n"
        "image, labels, pits, mask, degraded = sys.argv[1:]\n"
        "assert main(['pits', image, '--labels', labels, '--json', pits]) == 0\n"
        "assert main(['degraded', image, '--mask', mask, '--json', degraded]) == 0\n"
        "print(' '.join(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(image), *outputs], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    barred = {
        "pandas",
        "scipy.ndimage",
        "scipy.stats",
        "skimage",
        "matplotlib",
        "lmfit",
        "jinja2",
        "openpyxl",
    }
    assert barred & set(done.stdout.split()) == set()
