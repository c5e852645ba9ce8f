"""Sentences of the page."""

import pytest

from surfscan.report import prose
from surfscan.report.groups import summarise_groups
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study

SPACE = "\u00a0"


@pytest.fixture
def parts(study_folder):
    study = load_study(study_folder)
    records, _ = gather(study, ResultsStore(study.folder).all())
    specimens = summarise_specimens(study.specimens, records)
    return records, summarise_groups(study.groups, specimens), specimens


def test_summary_says_what_how_sure_and_from_how_many(parts):
    records, groups, specimens = parts
    assert prose.study_sentence(records, groups, specimens) == (
        "8 specimens in 3 groups. 12 of 13 images measured in full; 1 worst-seen, shown but in no mean."
    )
    sentences = prose.surface_sentences(records, groups)
    assert sentences[1] == (
        f"Degraded area is highest in “uncoated 7 d”: 32{SPACE}% (95 % interval 8 to 55, 3 specimens); less "
        f"its baseline “as received” 30{SPACE}% (7 to 54)."
    )
    assert sentences[-1].startswith("1 image without a known scale")


def test_refused_interval_is_said_with_its_reason(parts):
    records, groups, _ = parts
    sentences = prose.surface_sentences(records, groups[2:])
    assert any("no interval, 1 specimen" in s for s in sentences)


def test_nothing_measured_still_has_a_sentence():
    assert prose.study_sentence([], [], []) == "0 specimens in 0 groups."
    assert prose.surface_sentences([], []) == []


def test_caption_and_alt(parts):
    records = {r.image_id: r for r in parts[0]}
    caption = prose.field_caption(records["images/03.png"], "scale bar 20 µm")
    assert caption.startswith(
        "Surface cleaned; field choice systematic. 12 pits (3 near a limit, 1 more for review);"
    )
    assert f"Degraded area 20.00{SPACE}% (19.60 to 20.60)." in caption
    assert caption.endswith("Scale bar 20 µm.")
    unknown = prose.field_caption(records["images/11.png"], "")
    assert unknown.startswith("Surface not stated; field choice not stated. 3 pits")
    assert "per million px" in unknown
    assert prose.field_alt(records["images/00.png"], "pits") == "Micrograph images/00.png with 1 pit outlined"
    assert prose.field_alt(records["images/03.png"], "degraded").endswith("20.0 % degraded, hatched")
