"""Sections of an image, one by one."""

import numpy as np
import pytest

from surfscan.report.records import gather
from surfscan.report.section_records import (
    FALLBACK,
    original_thickness,
    pieces,
    sections_of,
    sources,
    sources_counted,
    thickness_share,
)
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def found(reported_sections):
    records, _ = gather(load_study(reported_sections), ResultsStore(reported_sections).all())
    return sections_of(records)


def test_every_section_stands_by_itself(found):
    assert [(s.record.image_id, s.number) for s in found] == [
        ("0.png", 1),
        ("1.png", 1),
        ("1.png", 2),
        ("2.png", 1),
        ("3.png", 1),
        ("4.png", 1),
        ("5.png", 1),
    ]
    assert [s.crosses for s in found] == [False] * 6 + [True]
    assert [s.is_measured for s in found] == [True] * 6 + [False]


def test_stations_are_those_of_the_section(found):
    first, second = (s.stations() for s in found[1:3])
    assert first["col_px"].max() < 210 < second["col_px"].min()
    assert len(found[6].stations()["s_um"]) == 0
    assert len(found[6].thickness()["s_um"]) > 50


def test_perimeter_is_that_of_the_drawing(found):
    assert found[0].perimeter() == pytest.approx(560, rel=0.005)
    assert np.isnan(found[6].perimeter())


def test_lengths_are_rounded_to_their_interval_and_named(found):
    assert found[0].rounded("max_penetration").has_interval
    assert found[0].unit_word == "µm"
    assert found[5].unit_word == "px"
    assert not found[5].rounded("mean_penetration").has_interval


def test_thickness_is_shared_out_against_the_drawing(found):
    assert original_thickness(found[6]) == 120
    assert thickness_share(found[6]) == pytest.approx(98 / 120, abs=0.01)


def test_sources_stand_in_order_of_trust_and_are_counted(found):
    assert sources(found) == ["twin", "drawn size", FALLBACK]
    assert sources_counted(found[:3]) == "from the drawn size"
    assert sources_counted(found) == (
        "1 from an unexposed twin, 5 from the drawn size, 1 from the outer edge of product"
    )
    assert pieces(found[0]) == "no island"
