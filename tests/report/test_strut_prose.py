"""Sentences about struts."""

from dataclasses import replace

import pytest

from surfscan.report import strut_prose
from surfscan.report.specimens import summarise_specimens


def plain(text):
    return text.replace("\u00a0", " ")


def test_summary_says_the_least_section_its_basis_and_its_upper_bound(strut_records):
    (said,) = map(plain, strut_prose.least_sentence(list(strut_records.values())))
    assert said.startswith("Least section left: 17.4 % (95 % interval ")
    assert "on struts/worst.png (S <notched>), a worst-seen picture; estimated from the width with" in said
    assert said.endswith("equal loss all round, at most (≤) 41.7 % with the thickness as drawn.")
    (said,) = map(plain, strut_prose.least_sentence([strut_records["notched"]]))
    assert said.startswith("Least section left: 45.8 % (") and said.endswith("measured thickness of 11.0 µm.")


def test_without_sections_the_least_width_is_said(strut_records):
    record = strut_records["plain"]
    stored = record.results["struts"]
    none = {"least_section_fraction": None, "least_section_equal_loss_fraction": None}
    bare = replace(stored, summary=dict(stored.summary) | none)
    (said,) = map(plain, strut_prose.least_sentence([replace(record, results={"struts": bare})]))
    assert said.startswith("Least width seen: 10.00 µm (")
    assert said.endswith("on struts/plain.png (S <plain>).")
    assert strut_prose.least_sentence([]) == []


def test_lost_metal_is_said_with_both_losses(strut_records):
    records = list(strut_records.values())
    specimens = summarise_specimens(list({r.specimen.id: r.specimen for r in records}.values()), records)
    (said,) = map(plain, strut_prose.lost_metal_sentence(specimens))
    assert said.startswith("Struts lost: 2 broken, 1 missing, on ")
    assert "the loss of S <mesh> is 37.5 %, against 25.0 % over what still stands; the least" in said
    assert strut_prose.lost_metal_sentence([s for s in specimens if s.specimen.id == "S <plain>"]) == []


def test_caption(strut_records):
    text = plain(strut_prose.strut_caption(strut_records["plain"], "scale bar 20 µm"))
    assert text.startswith(
        "Surface cleaned; field choice systematic. 1 strut, 0.0600 mm counted (60 stations)."
    )
    assert "Loss of width 16.7 % (" in text and "against the width as drawn." in text
    assert "Least section left: 69.4 % (66.3 to 74.6), equal loss all round; ≤ 83.3 %." in text
    assert text.endswith("Scale bar 20 µm.")


def test_caption_with_measured_thickness_and_lost_metal(strut_records):
    text = plain(strut_prose.strut_caption(strut_records["notched"], ""))
    assert text.endswith("Least section left: 45.8 % (44.2 to 48.0), thickness measured.")
    text = plain(strut_prose.strut_caption(strut_records["mesh"], ""))
    assert "against the picture before" in text and ", strut 5." in text and "Missing 1." in text
    assert (
        "Of the length 17 % is gone: loss of width 37.5 % with it as zero width, 25.0 % over what still "
        "stands." in text
    )


def test_caption_and_alt_in_px(strut_records):
    text = plain(strut_prose.strut_caption(strut_records["unscaled"], ""))
    assert "Mean width 20.000 px (19.950 to 20.050); least 20.00 px" in text and "section" not in text
    assert "least width 20.00 px" in plain(strut_prose.strut_alt(strut_records["unscaled"]))


@pytest.mark.parametrize("name", ["plain", "mesh"])
def test_alt(strut_records, name):
    assert strut_prose.strut_alt(strut_records[name]).startswith(f"Picture struts/{name}.png with ")


def test_no_strut_is_said(strut_records):
    record = strut_records["plain"]
    stored = record.results["struts"]
    none = replace(stored, summary=dict(stored.summary) | {"strut_count": 0})
    assert "No strut was found." in strut_prose.strut_caption(replace(record, results={"struts": none}), "")


def test_more_metal_than_there_was_is_said_in_place_of_loss_and_section(strut_records):
    record = strut_records["plain"]
    stored = record.results["struts"]
    refuted = {"loss_fraction": -9.0, "loss_fraction_ci95": [-9.2, -8.8]}
    beyond = replace(record, results={"struts": replace(stored, summary=dict(stored.summary) | refuted)})
    text = plain(strut_prose.strut_caption(beyond, ""))
    assert "Struts 10.0 times as wide as before or as drawn, beyond the interval: no loss and no" in text
    assert "Loss of width" not in text and "Least section" not in text
    assert strut_prose.least_sentence([beyond])[0].startswith("Least width seen")
