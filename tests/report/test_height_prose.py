"""Sentences about height maps."""

from dataclasses import replace

import pytest

from surfscan.report import height_prose, prose
from surfscan.report.records import gather
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def records(reported_heights):
    return {
        r.image_id: r for r in gather(load_study(reported_heights), ResultsStore(reported_heights).all())[0]
    }


def plain(text):
    return text.replace("\u00a0", " ")


def test_summary_names_the_deepest_pit(records):
    (said,) = map(plain, height_prose.height_sentences(list(records.values())))
    assert said == (
        "Deepest pit seen: 30.00 µm (95 % interval 29.80 to 30.20), on maps/06.npy (H1), a "
        "worst-seen map; on 1 map the greatest depth is a lower bound (≥)."
    )
    assert height_prose.height_sentences([records["images/a.png"]]) == []


def test_caption_says_form_measured_share_and_lower_bound(records):
    text = plain(height_prose.height_caption(records["maps/04.npy"], "scale bar 20 µm"))
    for expected in (
        "Surface cleaned; field choice systematic.",
        "Form taken off: plane, tilted 1.43° along x, 0.00° along y; measured 97.5 %; 2 spikes",
        "1 at least as deep as measured); deepest no. 2: ≥ 9.00 µm;",
        "Texture (S-F surface): Sa",
        "Scale bar 20 µm.",
    ):
        assert expected in text


def test_caption_names_the_original_level(records):
    text = plain(height_prose.height_caption(records["maps/07.npy"], ""))
    assert "Mean penetration from the original level (masked datum): 2.00 µm, pitting factor 6.5." in text
    assert "original level" not in height_prose.height_caption(records["maps/03.npy"], "")


def test_alt_text(records):
    assert "2 pits outlined, the deepest ≥ 9.00 µm" in plain(height_prose.height_alt(records["maps/04.npy"]))
    assert height_prose.height_alt(records["maps/00.npy"]).endswith("with 0 pits outlined")


def test_asides_say_only_what_there_is():
    assert prose.asides(0, 0) == ""
    assert prose.asides(3, 0) == " (3 near a limit)"
    assert prose.asides(0, 1, 2) == " (1 more for review, 2 at least as deep as measured)"


def test_deepest_pit_that_goes_on_beyond_the_frame_is_marked(records):
    record = records["maps/07.npy"]
    assert "cut by the frame" not in height_prose.height_caption(record, "")
    stored = record.results["pits"]
    pits = dict(stored.tables["pits"])
    pits["depth_is_lower_bound"] = pits["depth_um"] > 11
    cut = replace(
        record,
        _unpacked={},
        results=dict(record.results) | {"pits": replace(stored, tables=dict(stored.tables) | {"pits": pits})},
    )
    assert "12.00 µm (11.80 to 12.20), cut by the frame;" in plain(height_prose.height_caption(cut, ""))
    assert "(H2), cut by the frame." in height_prose.height_sentences([cut])[-1]
