"""The summary at the head of the page."""

import math

import pytest

from surfscan.report.extreme_values import summarise_extremes
from surfscan.report.groups import summarise_groups
from surfscan.report.page_parts import PageContent
from surfscan.report.rate_records import gather_rates
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.report.summary_page import Shown, summary
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


def blocks_of(folder):
    study, stored = load_study(folder), list(ResultsStore(folder).all())
    records, _ = gather(study, stored)
    specimens = summarise_specimens(study.specimens, records)
    groups = summarise_groups(study.groups, specimens)
    content = PageContent(
        study, records, specimens, groups, [], {}, [], [],
        extremes=summarise_extremes(groups), rates=gather_rates(study, stored),
    )  # fmt: skip
    return {block.title: block for block in summary(content)}, specimens


def test_exposure_that_is_not_valid_is_said_first_with_its_reason(reported_rates):
    blocks, _ = blocks_of(reported_rates)
    first = next(iter(blocks.values()))
    assert (first.title, first.badge, first.state) == ("Exposure", "Exposure not valid", "bad")
    assert first.lines[0].startswith("rig.csv (U1 + U2 + U3): temperature is known to be in range for 77.1")
    assert first.lines[1] == "2 exposed specimens without a rig log: nothing tells how they fared."
    assert "Struts lost" not in blocks and "Deepest pit" not in blocks and "By hand" not in blocks


def test_least_sections_say_where_and_of_how_many(reported_struts, reported_sections):
    blocks, specimens = blocks_of(reported_struts)
    block = blocks["Least section left of a strut"]
    known = {
        s.specimen.id: v for s in specimens if not math.isnan(v := s.figure("least_section_left_fraction"))
    }
    (shown,) = block.headline
    assert shown.whose == min(known, key=known.get) and shown.value == min(known.values())
    assert block.lines[0].startswith(f"On {shown.whose} (") and block.lines[1].startswith(
        f"Least of {len(known)} specimen"
    )
    blocks, specimens = blocks_of(reported_sections)
    (shown,) = blocks["Least cross-section left"].headline
    known = [v for s in specimens if not math.isnan(v := s.figure("remaining_section_fraction"))]
    assert shown.value == min(known)


def test_lost_struts_are_counted_and_named(reported_struts):
    blocks, specimens = blocks_of(reported_struts)
    block = blocks["Struts lost"]
    rows = [s.by_kind["strut"].row for s in specimens if s.by_kind["strut"].row]
    for shown, name in zip(block.headline, ("broken_count", "missing_count", "crack_count"), strict=True):
        assert shown.value == sum(r[name] for r in rows if r[name] > 0)
    assert block.state == "bad" and any("S <" in line for line in block.lines)


def test_deepest_pit_is_a_bound_where_a_floor_was_hidden_anywhere(reported_heights):
    blocks, _ = blocks_of(reported_heights)
    block = blocks["Deepest pit"]
    (shown,) = block.headline
    assert (shown.text, shown.after, shown.value) == ("≥\u00a030.00", "µm", 30.0)  # the worst-seen map
    assert block.lines[0] == "On maps/06.npy (H1), a worst-seen map; its floor was measured."
    assert block.lines[1] == "On 1 other map a floor was not measured: a pit there may be deeper still (≥)."
    assert "No deepest pit of a whole part can be predicted" in block.lines[2]


def test_how_many_and_by_hand(reported):
    blocks, _ = blocks_of(reported)
    block = blocks["How many"]
    assert block.headline == [Shown("8", after="specimens")]
    assert (
        "1 group below three specimens, shown as points only: reference & <b>$x$</b>."
        in blocks["How many"].lines
    )
    assert "12 of 13 images measured in full." in blocks["How many"].lines
    assert blocks["By hand"].headline[0].text == "0 of 13"
    assert blocks["By hand"].lines == ["Every figure is as measured."]


def test_corrected_images_are_counted(reviewed_folder):
    page = (reviewed_folder / "report.html").read_text(encoding="utf-8")
    found = page[page.index("<h3>By hand</h3>") :][:600]
    assert "images corrected by hand" in found and 'href="#by-hand"' in found


@pytest.mark.parametrize("name", ["reported", "reported_heights", "reported_struts", "reported_rates"])
def test_links_lead_to_parts_of_the_page(request, name):
    folder = request.getfixturevalue(name)
    blocks, _ = blocks_of(folder)
    page = (folder / "report.html").read_text(encoding="utf-8")
    for block in blocks.values():
        for anchor, _ in block.links:
            assert f'<section id="{anchor}"' in page
