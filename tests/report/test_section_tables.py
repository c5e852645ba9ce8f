"""Tables of sections beside the page."""

import csv

from surfscan.columns import TABLES


def read(folder, name):
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def test_every_picture_section_and_station_has_a_row(reported_sections):
    images, profiles = read(reported_sections, "section_images"), read(reported_sections, "profiles")
    assert [row["image"] for row in images] == [f"{k}.png" for k in range(6)]
    assert [row["profile_count"] for row in images] == ["1", "2", "1", "1", "1", "1"]
    assert [(row["image"], row["profile"]) for row in profiles][1:3] == [("1.png", "1"), ("1.png", "2")]
    assert images[3]["original_outline"] == "outer edge of product"
    assert images[3]["remaining_fraction_ci95_low"] == ""
    assert images[5]["mean_thickness_um"]
    outlines, thickness = (
        read(reported_sections, "section_outlines"),
        read(reported_sections, "section_thickness"),
    )
    assert {row["image"] for row in outlines} == {f"{k}.png" for k in range(5)}
    assert {row["image"] for row in thickness} == {"5.png"}
    assert len(read(reported_sections, "section_specimens")) == 4


def test_columns_are_those_of_the_registry(reported_sections):
    for name in ("section_images", "profiles", "section_outlines", "section_thickness", "section_specimens"):
        assert list(read(reported_sections, name)[0]) == [c.name for c in TABLES[f"study_{name}"]]
