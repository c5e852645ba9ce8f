"""Tables of the report: they carry whose an object is, and means for every figure of a group."""

from surfscan.columns import GROUP_FIGURES, SUBTRACTED_FIGURES, columns


def test_pits_of_a_study_say_whose_they_are_and_keep_their_own_columns():
    names = [c.name for c in columns("study_pits")]
    assert names[:4] == ["image", "specimen", "group", "image_kind"]
    assert names[4:] == [c.name for c in columns("pits")]


def test_every_group_figure_has_mean_replicates_and_where_it_adds_up_a_subtracted_mean():
    names = {c.name for c in columns("study_groups")}
    for figure in GROUP_FIGURES:
        assert {f"mean_{figure}", f"n_specimens_{figure}", f"sd_{figure}"} <= names
        assert (f"baseline_subtracted_{figure}" in names) == (figure in SUBTRACTED_FIGURES)
