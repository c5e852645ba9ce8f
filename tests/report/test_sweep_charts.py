"""Charts of sweeps: points, fit, branches, windows, the loop and its potentials where they belong."""

import re

import numpy as np
import pytest

from surfscan.report.sweep_charts import cyclic_chart, has_loop, ordinate, polarization_chart


def places(chart, name):
    """Points of a path of dots."""
    (d,) = re.findall(rf'class="{name}" d="([^"]*)"', chart)
    return np.array([[float(v) for v in pair.split()] for pair in re.findall(r"M([\d. ]+)h0", d)])


def test_anodic_lies_above_cathodic_and_the_cross_between(rate_records):
    chart = polarization_chart(rate_records["active.csv"])
    anodic, cathodic = places(chart, "swp-anodic"), places(chart, "swp-cathodic")
    cross = float(re.search(r'class="swp-cross" d="M([\d.]+) ([\d.]+)h14', chart).group(2))
    assert anodic[:, 1].max() <= cross + 1 and cathodic[:, 1].min() >= cross - 1
    assert "Ecorr −1.5500 V" in chart and "icorr 25" in chart


def test_branches_meet_at_the_cross(rate_records):
    chart = polarization_chart(rate_records["active.csv"])
    x, y = map(float, re.search(r'class="swp-cross" d="M([\d.]+) ([\d.]+)h14', chart).groups())
    starts = re.findall(r'class="swp-branch" d="M([\d.]+) ([\d.]+)', chart)
    assert len(starts) == 2
    for a, b in starts:
        assert (float(a), float(b)) == pytest.approx((x + 7, y), abs=0.6)


def test_windows_fit_and_residuals_are_drawn(rate_records):
    chart = polarization_chart(rate_records["active.csv"])
    assert chart.count('class="swp-window"') == chart.count('class="swp-fit"') == 1
    assert chart.count('class="swp-zero"') == 1 and "window of the fit" in chart
    assert len(places(chart, "swp-residual")) > 100
    assert "Potential (V against SCE)" in chart


def test_refused_sweep_shows_its_points_alone(rate_records, changed):
    record = rate_records["active.csv"]
    bare = dict(record.table("sweep"))
    bare["residual_decades"] = np.full_like(bare["residual_decades"], np.nan)
    bare["fitted_uA_per_cm2"] = bare["residual_decades"]
    chart = polarization_chart(changed(record, {"sweep": bare}, icorr_uA_per_cm2=None, method=None))
    assert "no corrosion current" in chart and "no residuals" in chart
    assert "swp-branch" not in chart and "swp-fit" not in chart and len(places(chart, "swp-anodic")) > 50


def test_no_area_no_chart(rate_records, changed):
    record = rate_records["active.csv"]
    bare = {
        **record.table("sweep"),
        "density_uA_per_cm2": np.full(len(record.table("sweep")["scan"]), np.nan),
    }
    assert polarization_chart(changed(record, {"sweep": bare})) == ""


def test_loop_with_its_potentials_in_order(rate_records):
    chart = cyclic_chart(rate_records["broken.csv"])
    labels = re.findall(r'y="([\d.]+)" text-anchor="end">(breakdown|protection|vertex|rest) ', chart)
    heights = {name: float(y) for y, name in labels}
    assert heights["vertex"] < heights["breakdown"] < heights["protection"] < heights["rest"]
    assert 'class="swp-forward"' in chart and 'class="swp-reverse"' in chart
    assert chart.count("<polygon") >= 3


def test_held_sweep_says_so_at_the_vertex(rate_records):
    chart = cyclic_chart(rate_records["held.csv"])
    assert "no breakdown up to the vertex 0.8" in chart and ">breakdown" not in chart


def test_active_sweep_has_no_loop(rate_records, changed):
    assert not has_loop(rate_records["active.csv"]) and cyclic_chart(rate_records["active.csv"]) == ""
    assert ordinate(changed(rate_records["active.csv"], reference=None)).endswith("reference not stated)")


def test_a_long_sweep_makes_no_long_chart(rate_records, changed):
    record = rate_records["active.csv"]
    table = {name: np.tile(column, 200) for name, column in record.table("sweep").items()}
    assert len(polarization_chart(changed(record, {"sweep": table}))) < 60_000
