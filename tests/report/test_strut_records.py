"""What stored results of struts say beyond their summary."""

import math

import numpy as np
import pytest

from surfscan.report.strut_records import (
    carrying,
    counted_length_um,
    is_upper_bound,
    lost_metal,
    penetration_um,
    runs_backwards,
    section_basis,
    station_shares,
    stretches,
    worst_first,
)


def test_carrying_struts_are_neither_missing_nor_loose(strut_records):
    struts = strut_records["mesh"].table("struts")
    assert list(struts["condition"]) == ["whole"] * 5 + ["missing"]
    assert carrying(struts).tolist() == [0, 1, 2, 3, 4]
    loose = dict(struts) | {"condition": np.array(["fragment", *struts["condition"][1:]])}
    assert carrying(loose).tolist() == [1, 2, 3, 4]


def test_counted_length(strut_records):
    assert counted_length_um(strut_records["mesh"]) == pytest.approx(5 * 60 * 2 * 0.5)


def test_penetration_against_the_drawing(strut_records):
    """12 less 10 µm, half on each side."""
    value, half = penetration_um(strut_records["plain"])
    assert value == pytest.approx(1.0)
    assert 0 < half < 0.3


def test_lost_metal_from_gaps_and_from_a_picture_before(strut_records):
    gap = lost_metal(strut_records["broken"])
    assert gap.length_fraction == pytest.approx(24 / 264)
    assert gap.with_lost == pytest.approx(1 - (240 / 264) * 10 / 12)
    before = lost_metal(strut_records["mesh"])
    assert before.length_fraction == pytest.approx(1 / 6)
    assert before.with_lost == pytest.approx(1 - 90 / 144)
    assert before.of_survivors == pytest.approx(1 - 18 / 24)
    assert math.isnan(lost_metal(strut_records["unscaled"]).with_lost)


def test_basis_of_sections(strut_records):
    assert section_basis(strut_records["plain"]) == "drawn" and is_upper_bound(strut_records["plain"])
    assert section_basis(strut_records["notched"]) == "measured"
    assert section_basis(strut_records["unscaled"]) == ""


def test_shares_of_the_width_before_or_drawn(strut_records):
    assert station_shares(strut_records["plain"]) == pytest.approx(10 / 12)
    assert station_shares(strut_records["mesh"])[:60] == pytest.approx(20 / 24)
    assert np.isnan(station_shares(strut_records["unscaled"])).all()


def test_stations_left_out_have_no_share(strut_records):
    record = strut_records["plain"]
    table = record.table("stations")
    kept = table["fault"].copy()
    table["fault"] = np.r_[["junction"], kept[1:]]
    assert np.isnan(station_shares(record)[0]) and np.isfinite(station_shares(record)[1:]).all()
    table["fault"] = kept


def test_worst_first_begins_with_what_is_missing(strut_records):
    struts = strut_records["mesh"].table("struts")
    assert [int(struts["strut"][k]) for k in worst_first(strut_records["mesh"])] == [6, 5, 4, 3, 2, 1]


def test_stretches_and_direction(strut_records):
    assert stretches(np.array([1, 1, 2, 5, 5])) == [(0, 2), (2, 3), (3, 5)]
    assert stretches(np.empty(0, int)) == []
    table = {"row_px": np.array([0.0, 5.0, 9.0]), "col_px": np.array([3.0, 2.0, 1.0])}
    assert not runs_backwards(table, 0, 3)
    turned = {name: values[::-1] for name, values in table.items()}
    assert runs_backwards(turned, 0, 3)
