"""The depth along a line as a figure and a table: units, the deepest point, the same bytes twice."""

import csv
import io
import math

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.measurement.line_profile import line_profile, reference_surface
from surfscan.report.depth_export import (
    colour_ends,
    depth_words,
    draw_depth,
    export_depth_figure,
    export_depth_table,
)


@pytest.fixture(scope="module")
def profile():
    """Across a cone 12 µm deep and 60 µm wide, with a gap beside it."""
    rows, cols = np.mgrid[:160, :200].astype(float)
    depth = np.maximum(12 * (1 - np.hypot(rows - 80, cols - 100) / 30), 0)
    heights = np.random.default_rng(0).normal(0, 0.01, rows.shape) - depth
    reference = reference_surface(heights.astype(np.float32), pixel_size_um=(1.0, 1.0))
    heights[:, 170:173] = np.nan
    return line_profile(heights, np.array([(80.0, 20.0), (80.0, 190.0)]), reference, pixel_size_um=(1, 1))


def test_words(profile):
    """Every number has its unit."""
    words = depth_words(profile)
    assert words.startswith("Line of 170 µm. Deepest 12.0 µm below the reference, at 80.0 µm.")
    assert "Width at the reference 59.8 µm." in words
    assert "Width at half the depth 30.0 µm." in words


def test_figure(profile):
    """Height and reference, told by line as well as by colour; the deepest point is named."""
    from matplotlib.figure import Figure

    axes = Figure().subplots()
    draw_depth(axes, profile)
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("Distance along the line (µm)", "Height (µm)")
    assert axes.get_legend_handles_labels()[1] == ["height", "reference"]
    assert axes.lines[1].get_linestyle() == "--"
    assert [t.get_text() for t in axes.texts] == ["12.0 µm deep"]
    draw_depth(axes, profile)
    assert len(axes.texts) == 1


@pytest.mark.parametrize("ending", [".png", ".svg"])
def test_figure_file(profile, tmp_path, ending):
    """The same bytes twice."""
    one, two = (
        export_depth_figure(tmp_path / f"{name}{ending}", profile, title="map") for name in ("one", "two")
    )
    assert one.read_bytes() == two.read_bytes()


def test_table(profile, tmp_path):
    """A row a point; what was not measured is empty; depth is reference less height."""
    path = export_depth_table(tmp_path / "line.csv", profile)
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    assert len(rows) == len(profile.row)
    assert list(rows[0]) == ["row_px", "col_px", "distance_um", "height_um", "reference_um", "depth_um"]
    deepest = rows[profile.deepest]
    difference = float(deepest["reference_um"]) - float(deepest["height_um"])
    assert float(deepest["depth_um"]) == pytest.approx(difference)
    assert [row["height_um"] for row in rows].count("") == 3
    assert math.isclose(float(rows[-1]["distance_um"]), 170.0)
    with pytest.raises(InputError, match=r"\.csv"):
        export_depth_table(tmp_path / "line.txt", profile)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (-3.587, 0.452, ("≤ −3.59 µm", "−1.57 µm", "≥ 0.45 µm")),
        (-5.0, 1.0, ("−5.00 µm", "−2.00 µm", "1.00 µm")),
        (-250.0, 250.0, ("−250 µm", "0 µm", "250 µm")),
        (0.0, 0.0, ("≤ 0 µm", "0 µm", "≥ 0 µm")),
    ],
)
def test_ends_of_colours_in_words(low, high, words):
    """Each with its unit and as many digits as tell the ends apart; marked where heights lie beyond."""
    heights = np.array([[-5.0, np.nan], [0.0, 1.0]], np.float32)
    assert colour_ends(heights, low, high) == words
