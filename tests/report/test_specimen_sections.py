"""The section of each specimen."""

from dataclasses import replace

import pytest

from surfscan.report.groups import summarise_groups
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.rate_records import gather_rates
from surfscan.report.records import gather
from surfscan.report.specimen_sections import rates_by_specimen, specimen_anchors, specimen_sections
from surfscan.report.specimens import summarise_specimens
from surfscan.report.summary_content import summary_content
from surfscan.report.surface_page import surface_page
from surfscan.store.masks import file_sha256
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def content_of():
    def of(folder):
        study, stored = load_study(folder), list(ResultsStore(folder).all())
        records, _ = gather(study, stored)
        specimens = summarise_specimens(study.specimens, records)
        groups = summarise_groups(study.groups, specimens)
        return summary_content(study, records, gather_rates(study, stored), specimens, groups)

    return of


def sections_of(content, *pictures):
    anchors = specimen_anchors(content.specimens)
    return {s.name: s for s in specimen_sections(content, pictures, anchors)}


def test_anchors_are_plain_and_unique(content_of, reported):
    (one, *_) = content_of(reported).specimens
    named = [
        SpecimenSummary(one.specimen.model_copy(update={"id": name}), one.by_kind)
        for name in ("A 1", "A-1", "<b>", "µ", "A/1")
    ]
    assert specimen_anchors(named) == {
        "A 1": "specimen-A-1",
        "A-1": "specimen-A-1-2",
        "<b>": "specimen-b",
        "µ": "specimen-unnamed",
        "A/1": "specimen-A-1-3",
    }


def test_pictures_figures_warnings_and_files_of_one_specimen(content_of, reported):
    content = content_of(reported)
    found = sections_of(content, surface_page(content).pictures)
    u1, a1 = found["U1"], found["A1"]
    assert [len(fields) for _, fields in u1.galleries] == [4]
    figures = {row[0].text: row for row in u1.figures.rows}
    summary = next(s for s in content.specimens if s.specimen.id == "U1")
    cell = figures["Degraded area"][1]
    assert cell.figure == "degraded_area_fraction"
    assert cell.value == summary.figure("degraded_area_fraction")
    assert figures["Degraded area"][4].text == "Surface: 3 fields"
    assert any("picked as worst seen" in group.text for group in u1.warnings)
    files = {row[0].text: row[-1].text for row in u1.provenance.rows}
    assert files["images/03.png"] == file_sha256(reported / "images" / "03.png") and len(files) == 4
    assert a1.missing == [
        "images/lost.png: pits not measured (the image lost.png is missing <here>).",
        "images/lost.png: degraded area not measured (the image lost.png is missing <here>).",
    ]
    assert u1.facts[0] == "exposed 168\u00a0h" and a1.facts[0] == "as received"
    assert u1.corrections is None and u1.rates is None


def test_settings_other_than_those_of_the_study_are_named(content_of, reported):
    content = content_of(reported)
    (record, *others) = content.records
    stored = record.results["pits"]
    own = replace(stored, settings={**stored.settings, "min_contrast": 0.31})
    changed = replace(record, results={**record.results, "pits": own}, _unpacked={})
    found = sections_of(replace(content, records=[changed, *others],
        specimens=summarise_specimens(content.study.specimens, [changed, *others])))  # fmt: skip
    heads = [head.text for head in found["A1"].provenance.heads]
    row = found["A1"].provenance.rows[0]
    assert row[heads.index("Settings other than the study's")].text == "min_contrast 0.31"


def test_rates_of_a_specimen_and_of_its_twin(content_of, reported_rates):
    content = content_of(reported_rates)
    assert {r.entry_id for r in rates_by_specimen(content, "U1")} == {
        "active.csv", "weighing of U1", "gas of U1", "rig.csv",
    }  # fmt: skip
    found = sections_of(content)
    rates = found["U1"].rates
    assert rates.caption == "Rates of U1 by every method, 95 % interval below each"
    assert [row[0].text for row in rates.rows] == [r.method for r in content.comparison.of("U1").rates]
    assert {"mass loss", "gas", "sweep"} <= {row[0].text for row in rates.rows}
    assert "No picture of this specimen in the study." in found["U1"].missing
    assert any(text.startswith("garbage.csv: sweep without a result (") for text in found["R2"].missing)
