"""Sentences about struts."""

from dataclasses import replace

import pytest

from surfscan.report import strut_prose


def plain(text):
    return text.replace("\u00a0", " ")


def test_summary_says_how_many_the_least_section_and_what_is_broken(strut_records):
    said = [plain(s) for s in strut_prose.strut_sentences(list(strut_records.values()))]
    assert said[0] == "6 of 6 pictures of struts measured; 1 worst-seen, shown but in no mean."
    assert said[1].startswith(
        "The least section is left on struts/worst.png (S <notched>), a worst-seen picture: ≤ 41.7 % with "
    )
    assert said[1].endswith("with equal loss all round.")
    assert said[2].startswith("Struts broken: 2, missing: 1, on 2 pictures; widths and sections are those of")


def test_without_sections_the_least_width_is_said(strut_records):
    record = strut_records["plain"]
    stored = record.results["struts"]
    bare = replace(stored, summary=dict(stored.summary) | {"least_section_fraction": None})
    said = strut_prose.strut_sentences([replace(record, results={"struts": bare})])
    assert plain(said[1]).startswith("The least width seen is 10.00 µm (")
    assert said[1].endswith("on struts/plain.png (S <plain>).")
    assert strut_prose.strut_sentences([]) == []


def test_caption(strut_records):
    text = plain(strut_prose.strut_caption(strut_records["plain"], "scale bar 20 µm"))
    assert text.startswith(
        "Surface cleaned; field choice systematic. 1 strut, 0.0600 mm counted (60 stations)."
    )
    assert "Loss of width 16.7 % (" in text and "against the width as drawn." in text
    assert "Least section: ≤ 83.3 % with the thickness as drawn, 69" in text
    assert text.endswith("Scale bar 20 µm.")


def test_caption_with_measured_thickness_and_lost_metal(strut_records):
    assert "with a measured thickness of 11.0 µm" in plain(
        strut_prose.strut_caption(strut_records["notched"], "")
    )
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
