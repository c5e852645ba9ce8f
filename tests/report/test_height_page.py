"""What the page says of height maps."""

import pytest

from surfscan.report.extreme_values import summarise_extremes
from surfscan.report.groups import summarise_groups
from surfscan.report.height_page import height_page
from surfscan.report.page_parts import PageContent
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def content_of():
    def of(folder):
        study = load_study(folder)
        records, _ = gather(study, ResultsStore(folder).all())
        specimens = summarise_specimens(study.specimens, records)
        groups = summarise_groups(study.groups, specimens)
        extremes = summarise_extremes(groups)
        return PageContent(study, records, specimens, groups, [], {}, [], [], extremes=extremes)

    return of


def test_parts_in_their_order(content_of, height_folder):
    said = height_page(content_of(height_folder))
    assert [p.anchor for p in said.figures] == ["heights", "extremes", "texture"]
    assert [len(fields) for fields in said.pictures.fields.values()] == [1, 1, 1, 4, 1, 1, 1]
    heights = said.figures[0].shown
    assert heights["has_pictures"] and heights["has_bounds"]
    assert any(text.startswith("Deepest pit seen: ") for text in said.sentences)
    assert any(text.startswith("Pit volume per area is highest in") for text in said.sentences)


def test_study_without_height_maps_says_nothing(content_of, study_folder):
    assert height_page(content_of(study_folder)) is None
