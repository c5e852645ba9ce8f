"""A strut's figure and table as files: what stands in them, the same bytes twice, clear refusals."""

import csv
import io

import numpy as np
import pytest
from openpyxl import load_workbook

from surfscan.columns import columns
from surfscan.errors import InputError
from surfscan.procedures.strut_profile import section_at, strut_profile
from surfscan.report.strut_export import (
    draw_section,
    draw_width,
    export_strut_figure,
    export_strut_table,
    section_words,
)

NOTCHED = np.r_[np.full(30, 20.0), np.full(6, 12.0), np.full(30, 20.0)]


@pytest.fixture(scope="module")
def result(strut_result):
    """Two struts, the second with a notch; the first with a fillet."""
    faults = ["junction"] * 6 + [""] * 34 + [""] * 66
    sizes = {"drawn_width_um": 12.0, "drawn_thickness_um": 12.0}
    return strut_result(np.full(40, 24.0), NOTCHED, station_faults=faults, **sizes)


def axes():
    """A plot in memory."""
    from matplotlib.figure import Figure

    return Figure().subplots()


def test_figure_says_what_it_shows(result):
    """Units on both axes, the drawn width, the least place, hand-placed edges named beside their colour."""
    by_hand = np.zeros(106, bool)
    by_hand[60:70] = True
    profile, plot = strut_profile(result, 2, by_hand), axes()
    draw_width(plot, profile)
    assert plot.get_xlabel().endswith("(µm)")
    assert plot.get_ylabel() == "Width (µm)"
    texts = " ".join(t.get_text() for t in plot.texts)
    assert "drawn 12.0 µm" in texts
    assert "least 6" in texts
    labels = plot.get_legend_handles_labels()[1]
    assert labels == ["95 % interval", "width", "edge by hand"]
    low, high = plot.get_ylim()
    assert low < profile.low.min() < 12 < high


def test_what_does_not_count_is_hatched(result):
    """No width where a fillet is."""
    plot = axes()
    draw_width(plot, strut_profile(result, 1))
    assert any(patch.get_hatch() for patch in plot.patches)


def test_section_is_drawn_to_scale(result):
    """One unit is as long both ways; as drawn, by width, with equal loss."""
    profile, plot = strut_profile(result, 2), axes()
    section = section_at(result, profile, profile.least_section)
    draw_section(plot, section)
    assert plot.get_aspect() == 1.0
    assert len(plot.lines) == 3
    assert section_words(section) == "at most 50 % (72.0 µm²); with equal loss all round 25 %"
    draw_section(plot, None)
    assert not plot.lines
    assert section_words(None) == ""


@pytest.mark.parametrize("ending", [".png", ".svg"])
def test_figure_file(result, tmp_path, ending):
    """The right kind of file, the same bytes twice."""
    profile = strut_profile(result, 2)
    section = section_at(result, profile, 31)
    one, two = (
        export_strut_figure(tmp_path / f"{name}{ending}", profile, section, title="Strut 2", note="a note")
        for name in ("one", "two")
    )
    assert one.read_bytes() == two.read_bytes()
    assert one.read_bytes()[:8].startswith(b"\x89PNG" if ending == ".png" else b"<?xml")
    assert export_strut_figure(tmp_path / f"alone{ending}", profile).stat().st_size > 1000


def test_table_files(result, tmp_path):
    """Stations of this strut alone; the workbook has its row and the definitions too."""
    profile = strut_profile(result, 2)
    path = export_strut_table(tmp_path / "strut.csv", result, profile)
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    assert len(rows) == 66
    assert {row["strut"] for row in rows} == {"2"}
    assert float(rows[31]["width_um"]) == 6.0
    assert list(rows[0]) == [c.name for c in columns("stations")]
    book = load_workbook(export_strut_table(tmp_path / "strut.xlsx", result, profile))
    assert book.sheetnames == ["stations", "struts", "strut_faults", "data_dictionary"]
    assert [cell.value for cell in book["struts"]["A"]].count(2) == 1
    assert [cell.value for cell in book["struts"]["A"]].count(1) == 0


def test_refusals(result, tmp_path):
    """Another ending, and a place that cannot be written to, each with what to do."""
    profile = strut_profile(result, 2)
    with pytest.raises(InputError, match=r"\.png or \.svg"):
        export_strut_figure(tmp_path / "strut.bmp", profile)
    with pytest.raises(InputError, match=r"\.csv or \.xlsx"):
        export_strut_table(tmp_path / "strut", result, profile)
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="folder that may be written to"):
        export_strut_table(tmp_path / "file" / "strut.csv", result, profile)
