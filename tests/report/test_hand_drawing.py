"""What people changed by hand, as pictures show it."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace

import numpy as np
import pytest

from surfscan.report.hand_drawing import area_by_hand, edges_by_hand, hand_signs, objects_by_hand
from surfscan.report.pit_drawing import pit_layer
from surfscan.report.records import gather
from surfscan.store.masks import encode_mask
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def surface(study_folder):
    found = gather(load_study(study_folder), ResultsStore(study_folder).all())[0]
    return next(
        r for r in found if r.done("degraded") and (r.done("degraded").read_mask("degraded") > 0).any()
    )


@pytest.fixture
def drawn_by_hand(tmp_path):
    """Function that gives a record as if a person had drawn one mask of it anew."""

    def make(record, procedure, name, mask):
        content = encode_mask(mask)
        path = tmp_path / f"{name}.tif"
        path.write_bytes(content)
        plain = record.results[procedure]
        own = replace(
            plain,
            mask_paths={**plain.mask_paths, name: path},
            mask_sha256={**plain.mask_sha256, name: hashlib.sha256(content).hexdigest()},
        )
        return replace(
            record,
            results={**record.results, procedure: own},
            automatic={procedure: plain},
            corrections={procedure: None},
        )

    return make


def test_objects_that_hold_the_same_pixels_are_as_found():
    found = np.array([[1, 1, 0, 2, 2, 0, 3, 0, 4, 4, 0]])
    put = np.array([[5, 5, 0, 6, 0, 0, 0, 0, 7, 8, 9]])
    assert objects_by_hand(found, put) == ({6, 7, 8, 9}, {3})
    assert objects_by_hand(found, found) == (set(), set())
    assert objects_by_hand(found, np.where(found == 2, 1, found))[0] == {1}  # two made one
    assert objects_by_hand(None, put) == ({5, 6, 7, 8, 9}, set())
    assert objects_by_hand(found, np.zeros_like(found)) == (set(), {1, 2, 3, 4})


def test_pits_changed_are_dashed_and_those_taken_out_crossed(reviewed_records, drawn_by_hand):
    as_found = next(r for r in reviewed_records if r.image_id == "d.png")
    labels = as_found.results["pits"].read_mask("pits").astype(np.int32)
    changed, gone = 1, 2
    assert labels.max() == 4
    rows, cols = np.nonzero(labels == changed)
    mask = np.where(labels == gone, 0, labels)
    mask[rows[0], cols[0]] = 0
    record = drawn_by_hand(as_found, "pits", "pits", mask)
    svg, _ = pit_layer(record, (1.0, 1.0), 1.0)
    plain, _ = pit_layer(as_found, (1.0, 1.0), 1.0)
    assert svg.count('class="by-hand"') == svg.count('class="by-hand-gone"') == 1
    assert svg.count('class="by-hand-cross"') == 1
    assert "by-hand" not in plain

    def drawn(kind, text):
        found = re.search(rf'<path id="{kind}-[^"]*" class="line" d="([^"]*)"', text)
        return found[1].count("M") if found else 0

    both = ("pit", "near")
    assert sum(drawn(k, plain) for k in both) - sum(drawn(k, svg) for k in both) == 2
    assert drawn("by-hand-pits", svg) == drawn("by-hand-gone", svg) == 1


def test_area_that_changed_its_class_is_outlined(surface, drawn_by_hand):
    classes = surface.results["degraded"].read_mask("degraded")
    assert area_by_hand(surface, "degraded", "k", (1.0, 1.0)) == ""
    drawn = classes.copy()
    drawn[20:50, 30:90] = np.where(drawn[20:50, 30:90] == 2, 0, 2)
    record = drawn_by_hand(surface, "degraded", "degraded", drawn)
    svg = area_by_hand(record, "degraded", "k", (1.0, 1.0))
    assert 'class="by-hand"' in svg and 'id="by-hand-degraded-k"' in svg
    x, y = map(float, re.search(r' d="M([\d.]+) ([\d.]+)', svg).groups())
    assert 29 <= x <= 91 and 19 <= y <= 51
    window = (slice(20, 50), slice(30, 90))
    shifted = area_by_hand(record, "degraded", "k", (1.0, 1.0), window)
    assert tuple(map(float, re.search(r' d="M([\d.]+) ([\d.]+)', shifted).groups())) <= (61, 31)
    same = drawn_by_hand(surface, "degraded", "degraded", classes)
    assert area_by_hand(same, "degraded", "k", (1.0, 1.0)) == ""


def test_edges_are_drawn_where_they_were_moved(strut_records):
    record = next(r for r in strut_records.values() if r.done("struts"))
    plain = record.results["struts"]
    stations = plain.tables["stations"]
    known = np.flatnonzero(np.isfinite(stations["left_col_px"]))
    own = known[(stations["strut"] == stations["strut"][known[0]])[known]][5:15]
    left = stations["left_col_px"].copy()
    left[own] -= 3.0
    moved = replace(plain, tables={**plain.tables, "stations": {**stations, "left_col_px": left}})
    corrected = replace(
        record,
        results={"struts": moved},
        automatic={"struts": plain},
        corrections={"struts": None},
        _unpacked={},
    )
    assert edges_by_hand(record, "k", (1.0, 1.0)) == ""
    svg = edges_by_hand(corrected, "k", (2.0, 2.0))
    (path,) = re.findall(r' d="([^"]*)"', svg)
    assert path.count("M") == 1 and "z" not in path
    numbers = np.array(re.findall(r"-?[\d.]+(?:e-\d+)?", path), dtype=float).reshape(-1, 2)
    points = np.cumsum(numbers, axis=0) / 2 - 0.5
    near = np.hypot(points[:, :1] - left[own], points[:, 1:] - stations["left_row_px"][own])
    assert near.min(axis=1)[1:-1].max() < 1
    # nothing moved, and another count of stations: nothing is drawn
    assert edges_by_hand(replace(corrected, results={"struts": plain}, _unpacked={}), "k", (1.0, 1.0)) == ""
    fewer = {name: column[1:] for name, column in stations.items()}
    other = replace(plain, tables={**plain.tables, "stations": fewer})
    assert edges_by_hand(replace(corrected, automatic={"struts": other}), "k", (1.0, 1.0)) == ""


def test_legend_names_what_is_drawn_and_no_more():
    assert hand_signs(['<use class="by-hand" href="#a"/>']) == {"by_hand": True, "taken_out": False}
    assert hand_signs(["<g/>", '<use class="by-hand-gone"/>']) == {"by_hand": False, "taken_out": True}
    assert hand_signs([]) == {"by_hand": False, "taken_out": False}


def test_page_of_a_reviewed_study_shows_it_with_its_legend(reviewed_folder, page_text):
    text = page_text(reviewed_folder)
    assert text.count("added or changed by hand (purple, dashed)") == 1
    assert text.count("taken out by hand, counts no more") == 1
    # two pits of a.png and one of b.png taken out, half of one of c.png painted over; one cross in the legend
    assert len(re.findall(r'<use class="by-hand-gone"', text)) == 2
    assert (
        len(re.findall(r'<path class="by-hand-cross" d="M[\d.]+ [\d.]+l', text)) == 3 + 1
    )  # one in the legend
    assert len(re.findall(r'<use class="by-hand" ', text)) == 1


def test_page_of_a_study_that_nobody_reviewed_has_no_such_legend(reported, page_text):
    text = page_text(reported)
    assert "by hand (purple" not in text and "taken out by hand" not in text
