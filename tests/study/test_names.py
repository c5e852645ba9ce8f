"""What file names tell."""

from __future__ import annotations

import pytest

from surfscan.study.names import companion_of, guess, stem_of, stems_owned


@pytest.mark.parametrize(
    ("file", "specimen", "field", "group", "exposure_h"),
    [
        ("images/U07-1_a.png", "U07-1", "a", "U07", None),
        ("U07-1_d.png", "U07-1", "d", "U07", None),
        ("U07-1_2.tif", "U07-1", "2", "U07", None),
        ("C28-1_b.ome.tif", "C28-1", "b", "C28", None),
        ("uncoated_7d_2_b.tif", "uncoated_7d_2", "b", "uncoated_7d", 168.0),
        ("mesh_168h_3 field2.png", "mesh_168h_3", "field2", "mesh_168h", 168.0),
        ("14 days/plate3/img001.png", "plate3", "img001", "plate", None),
        ("14days/plate3/img001.png", "plate3", "img001", "plate", 336.0),
        ("as_received/C1_a.jpg", "C1", "a", "C", 0.0),
        ("4weeks_P1.png", "4weeks_P1", "", "4weeks_P", 672.0),
        ("P1_1.5h_50x.png", "P1_1.5h", "50x", "P_1.5h", 1.5),
        ("plate 1 7d.jpg", "plate_1_7d", "", "plate_7d", 168.0),
        ("uncoated_7d_a.jpg", "uncoated_7d", "a", "uncoated_7d", 168.0),
        ("a.png", "a", "", "a", None),
    ],
)
def test_specimen_field_group_and_exposure(
    file: str, specimen: str, field: str, group: str, exposure_h: float | None
) -> None:
    found = guess(file)
    assert (found.specimen, found.field, found.group, found.exposure_h) == (
        specimen,
        field,
        group,
        exposure_h,
    )


def test_a_number_that_may_count_either_is_said_to_be_unclear() -> None:
    assert guess("mesh_7d_1.png").specimen == "mesh_7d_1" and guess("mesh_7d_1.png").is_number_unclear
    assert not guess("mesh_7d_1_a.png").is_number_unclear
    assert not guess("U07-1_2.png").is_number_unclear


@pytest.mark.parametrize(
    ("file", "condition", "worst"),
    [
        ("U14-3_product.jpg", "with_product", False),
        ("U14-3_cleaned_a.jpg", "cleaned", False),
        ("as-received/U1.png", "as_received", False),
        ("uncleaned_1.png", "not_stated", False),
        ("U28-2_worst.jpg", "not_stated", True),
        ("U28-2_worsted.jpg", "not_stated", False),
    ],
)
def test_condition_and_choice(file: str, condition: str, worst: bool) -> None:
    assert (guess(file).condition, guess(file).worst_seen) == (condition, worst)


def test_parts_of_names() -> None:
    assert stem_of("x/U07-1_0.5.png") == "U07-1_0.5"
    for file in (
        "masks/U07-1_a_region.png",
        "masks/U07-1_a.png",
        "Specimen masks/U07-1_a.png",
        "U07-1_a_mask.png",
    ):
        assert companion_of(file) == ("U07-1_a", "region")
    assert companion_of("U07-1_a.png") is None and companion_of("unmasked/U07-1_a.png") is None
    assert companion_of("U07-1_h_datum.png") == ("U07-1_h", "datum")
    assert companion_of("heights/U07-1_h-Unexposed.x3p") == ("U07-1_h", "unexposed")


@pytest.mark.parametrize(
    ("file", "stem", "role"),
    [
        ("struts/U07-1_strut_before.png", "U07-1_strut", "before"),
        ("U07-1_side.png", "U07-1", "side_view"),
        ("U07-1_mesh side view.png", "U07-1_mesh", "side_view"),
        ("U07-1_stage.x3p", "U07-1", "thickness_map"),
        ("U07-1_thickness-map.x3p", "U07-1", "thickness_map"),
        ("sections/U07-1_Twin.tif", "U07-1", "twin"),
    ],
)
def test_companions_of_struts_and_sections(file: str, stem: str, role: str) -> None:
    assert companion_of(file) == (stem, role)
    assert companion_of("U07-1_hillside.png") is None


def test_stems_by_which_companions_name_an_image() -> None:
    assert stems_owned("struts/U07-1_strut.png") == ["U07-1_strut", "U07-1"]
    assert stems_owned("U07-1_cross-section.tif") == ["U07-1_cross-section", "U07-1"]
    assert stems_owned("A1_strut_28d.png") == ["A1_strut_28d", "A1_strut", "A1"]
    assert stems_owned("A1_28d_strut.png") == ["A1_28d_strut", "A1_28d"]
    assert stems_owned("U07-1_a.png") == ["U07-1_a"] and stems_owned("strut.png") == ["strut"]


@pytest.mark.parametrize(
    ("file", "shows"),
    [
        ("struts/U07-1.png", "strut"),
        ("U07-1_strut.png", "strut"),
        ("168h mesh/U07-1_a.png", "strut"),
        ("U07-1_crossing.png", "strut"),
        ("U07-1_cut.png", "section"),
        ("Cross-sections/U07-1.png", "section"),
        ("struts/U07-1_section.png", "section"),  # the name comes before the folder
        ("sections/struts/U07-1.png", "strut"),  # the nearest folder comes first
        ("U07-1_strut_section.png", "section"),  # a section of a strut is a section
        ("images/U07-1_a.png", None),
        ("dissection/constructs/uncut_1.png", None),
    ],
)
def test_what_a_name_says_an_image_shows(file: str, shows: str | None) -> None:
    assert guess(file).shows == shows


def test_words_for_what_it_shows_are_of_the_field() -> None:
    assert (guess("U07-1_strut.png").specimen, guess("U07-1_strut.png").field) == ("U07-1", "strut")
    assert guess("sections/U07-1_section_2.png").specimen == "U07-1"
    assert guess("images/mesh_1.png").specimen == "mesh_1"
