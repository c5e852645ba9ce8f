"""Warnings grouped by what they say."""

from surfscan.report.warning_groups import group_warnings


def test_numbers_names_and_plurals_do_not_split_a_group():
    groups = group_warnings(
        [
            ("a", "1 field of 'x.png' left out"),
            ("b", "3 fields of 'y.png' left out"),
            ("c", "the scale is unknown"),
            ("b", "3 fields of 'y.png' left out"),
        ]
    )
    assert [(g.where, g.alike) for g in groups] == [(["a", "b"], False), (["c"], True)]
    assert groups[0].text == "1 field of 'x.png' left out"


def test_figures_named_in_front_do_not_split_a_group():
    said = ["Pit density, pitted area fraction: two fields only", "Degraded area fraction: two fields only"]
    (group,) = group_warnings(zip("ab", said, strict=True))
    assert group.text == said[0]
    assert len(group_warnings([("a", "pit density: none"), ("a", "other: none")])) == 2


def test_most_frequent_first():
    pairs = [("a", "once"), *((str(i), "often") for i in range(200))]
    groups = group_warnings(pairs)
    assert [len(g.where) for g in groups] == [200, 1]


def test_different_words_stay_apart():
    assert len(group_warnings([("a", "too dark"), ("a", "too bright")])) == 2


def test_none():
    assert group_warnings([]) == []
