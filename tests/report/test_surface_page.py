"""What the page says of pictures of surfaces."""

import pytest

from surfscan.report.groups import summarise_groups
from surfscan.report.page_parts import PageContent
from surfscan.report.records import gather, of_kind
from surfscan.report.specimens import summarise_specimens
from surfscan.report.surface_page import surface_page
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def content_of():
    def of(folder, kind=None):
        study = load_study(folder)
        records, _ = gather(study, ResultsStore(folder).all())
        records = records if kind is None else of_kind(records, kind)
        specimens = summarise_specimens(study.specimens, records)
        return PageContent(
            study, records, specimens, summarise_groups(study.groups, specimens), [], {}, [], []
        )

    return of


def test_parts_in_their_order(content_of, study_folder):
    said = surface_page(content_of(study_folder))
    assert [p.anchor for p in (*said.figures, *said.sizes)] == ["groups", "surfaces", "sizes"]
    assert said.pictures.kind == "surface" and not said.pictures.shown["has_tarnish"]
    assert said.what == "pit density and degraded area (micrographs)"
    assert any(text.startswith("Pits are found by local contrast") for text in said.method)
    groups, specimens = (part.shown for part in said.figures)
    assert groups["has_worst"] and len(specimens["grid"].rows) == 8
    assert len(said.sizes[0].shown["charts"]) == 2  # in µm, and in px for the field without a scale


def test_field_without_a_picture_keeps_its_caption(content_of, study_folder):
    field = surface_page(content_of(study_folder)).pictures.fields["A1"][0]
    assert field["panels"] == [] and field["caption"].startswith("Surface as received")


def test_study_without_pictures_of_surfaces_says_nothing(content_of, height_folder):
    assert surface_page(content_of(height_folder, "heights")) is None
