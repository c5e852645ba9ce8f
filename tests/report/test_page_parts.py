"""What the page is made of."""

import pytest

from surfscan.report.groups import summarise_groups
from surfscan.report.page_parts import PageContent, gallery
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


def content_of(folder, **more):
    study = load_study(folder)
    records, _ = gather(study, ResultsStore(folder).all())
    specimens = summarise_specimens(study.specimens, records)
    groups = summarise_groups(study.groups, specimens)
    return PageContent(study, records, specimens, groups, [], {}, [], [], **more)


@pytest.fixture
def content(study_folder):
    return content_of(study_folder)


def test_gallery_has_every_measured_image_by_specimen(content):
    shown = gallery(content, "surface", lambda record, picture: {"own": record.image_id})
    names = [[f["name"] for f in fields] for fields in shown.values()]
    assert [len(n) for n in names] == [1, 1, 1, 4, 2, 1, 1, 1]
    assert "images/lost.png" not in {name for own in names for name in own}
    assert list(shown)[3] == "U1"
    assert [f["worst"] for f in shown["U1"]] == [False, False, False, True]
    assert all(f["own"] == f["name"] and f["picture"] is None for own in shown.values() for f in own)
    keys = [f["key"] for own in shown.values() for f in own]
    assert len(set(keys)) == len(keys)


def test_gallery_of_a_kind_that_is_not_there_is_empty(content):
    assert gallery(content, "strut", lambda record, picture: {}) == {}
