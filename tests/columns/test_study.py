"""Tables of the report: they carry whose an object is, and means for every figure of a group."""

from surfscan.columns import (
    FIGURES_OF,
    GROUP_FIGURES,
    LOWER_BOUND_FIGURES,
    SUBTRACTED_FIGURES,
    TEXTURE_PARAMETERS,
    columns,
)


def test_pits_of_a_study_say_whose_they_are_and_keep_their_own_columns():
    names = [c.name for c in columns("study_pits")]
    assert names[:4] == ["image", "specimen", "group", "image_kind"]
    assert names[4:] == [c.name for c in columns("pits")]


def test_every_group_figure_has_mean_replicates_and_where_it_adds_up_a_subtracted_mean():
    names = {c.name for c in columns("study_groups")}
    for figure in GROUP_FIGURES:
        assert {f"mean_{figure}", f"n_specimens_{figure}", f"sd_{figure}"} <= names
        assert (f"baseline_subtracted_{figure}" in names) == (figure in SUBTRACTED_FIGURES)


def test_height_maps_have_tables_of_their_own():
    """Figures of pictures and of height maps share no table but that of pits, which says which is which."""
    heights = {c.name for c in columns("study_heights")}
    assert {c.name for c in TEXTURE_PARAMETERS} <= heights
    assert "depth_p90_um" in heights and "degraded_area_fraction" not in heights
    assert not {"max_depth_um", "Sq_um"} & {c.name for c in columns("study_images")}
    assert set(FIGURES_OF["heights"]) <= {c.name for c in columns("study_height_specimens")}
    assert not set(FIGURES_OF["heights"]) & {c.name for c in columns("study_specimens")}


def test_figures_that_may_be_lower_bounds_say_of_how_many_specimens():
    names = {c.name for c in columns("study_groups")}
    for figure in GROUP_FIGURES:
        assert (f"n_lower_bound_{figure}" in names) == (figure in LOWER_BOUND_FIGURES)
    for table in ("study_heights", "study_height_specimens"):
        flags = {c.name: c.dtype for c in columns(table)}
        assert flags["max_depth_is_lower_bound"] == flags["mean_depth_10_deepest_is_lower_bound"] == "bool"
