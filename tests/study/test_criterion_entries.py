"""What a criterion may say; every fault stands at the key it is about, and in the manifest at its line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from surfscan.columns import GROUP_FIGURES
from surfscan.comparison.acceptance import Limits
from surfscan.comparison.rates import METHODS
from surfscan.errors import InputError
from surfscan.study.criterion_entries import (
    CRITERION_FIGURES,
    RATE_FIGURES,
    CriterionEntry,
    criterion_clashes,
    judged_groups,
)
from surfscan.study.entries import Group
from surfscan.study.faults import describe
from surfscan.study.manifest import load_study

DEPTH: dict[str, Any] = {"figure": "max_depth_um", "at_most": 40}
GROUPS = (Group(name="raw"), Group(name="a", baseline="raw"), Group(name="b", baseline="raw"))

HEAD = """\
title = "T"
[[group]]
name = "raw"
[[group]]
name = "a"
baseline = "raw"
[[specimen]]
id = "s"
group = "a"
exposure_h = 24
"""


def _entry(**stated: Any) -> CriterionEntry:
    return CriterionEntry.model_validate({**DEPTH, **stated}, strict=True)


def _faults(stated: dict[str, Any]) -> list[tuple[tuple[str | int, ...], str, str]]:
    with pytest.raises(ValidationError) as caught:
        CriterionEntry.model_validate(stated, strict=True)
    return describe(caught.value, CriterionEntry)


def _said(folder: Path, added: str) -> str:
    (folder / "study.toml").write_text(HEAD + added, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_study(folder)
    return str(caught.value)


def test_figures_are_those_of_the_registry_and_a_rate_for_each_method() -> None:
    assert set(CRITERION_FIGURES) == set(GROUP_FIGURES) | set(RATE_FIGURES)
    assert tuple(RATE_FIGURES.values()) == METHODS
    entry = _entry(figure="polarization_resistance_rate_mm_per_y")
    assert (entry.method, entry.kind, entry.unit) == ("polarization resistance", None, "mm/y")
    assert entry.words == "penetration rate by polarization resistance"
    depth = _entry()
    assert (depth.method, depth.kind, depth.unit, depth.words) == (
        None,
        "heights",
        "µm",
        "greatest pit depth",
    )


def test_limits_and_defaults() -> None:
    assert _entry().limits == Limits(at_most=40.0)
    assert CriterionEntry(figure="max_depth_um", between=(1.0, 2.0)).limits == Limits(1.0, 2.0)
    assert CriterionEntry(figure="strut_loss_fraction", at_least=-0.1).limits == Limits(at_least=-0.1)
    entry = _entry()
    assert (entry.of, entry.rule, entry.guard_factor, entry.groups) == ("specimens", "guarded", 1.0, None)


@pytest.mark.parametrize(
    ("stated", "at", "said", "remedy"),
    [
        ({**DEPTH, "figure": "max_dept_um"}, ("figure",), "no figure", "Did you mean 'max_depth_um'?"),
        ({**DEPTH, "figure": "zebra"}, ("figure",), "'zebra'", "Write one of pit_density_per_mm2, "),
        ({"figure": "max_depth_um"}, ("figure",), "has no limit", "Add at_most = ..., at_least = ..."),
        ({**DEPTH, "at_least": 20}, ("at_least",), "at_most and at_least stand", "Write between = [20, 40]"),
        ({**DEPTH, "at_least": 50}, ("at_least",), "at_most and at_least stand", "Keep the one that holds"),
        ({**DEPTH, "between": [1, 2]}, ("between",), "at_most and between stand", "Keep the one"),
        ({"figure": "max_depth_um", "between": [2, 2]}, ("between",), "holds nothing", "lower limit first"),
        ({"figure": "strut_loss_fraction", "at_most": 5}, ("at_most",), "is a fraction", "Write 5 % as 0.05"),
        ({**DEPTH, "at_most": -1}, ("at_most",), "below 0", "Write 0 or more"),
        ({**DEPTH, "rule": "simple", "guard_factor": 2}, ("guard_factor",), "guarded rule", "Take it"),
        ({**DEPTH, "rule": "simpel"}, ("rule",), "rule = 'simpel' is not known", "Did you mean 'simple'?"),
        ({**DEPTH, "guard_factor": -1}, ("guard_factor",), "cannot be used", "greater than or equal to 0"),
        ({**DEPTH, "groups": []}, ("groups",), "list of names", "leave it out for all groups"),
        ({**DEPTH, "groups": "A 7 d"}, ("groups",), "list of names", 'Write groups = ["A 7 d"]'),
        ({"figure": "max_depth_um", "between": [1]}, ("between",), "a lower and", "between = [low, high]"),
        ({"figure": "gas_rate_mm_per_y", "at_most": -1}, ("at_most",), "below 0", "Write 0 or more"),
        ({**DEPTH, "at_most_um": 4}, ("at_most_um",), "unknown key", "Did you mean 'at_most'?"),
        ({"figure": "least_section_fraction", "at_least": 1}, ("figure",), "no interval", 'rule = "simple"'),
    ],
)  # fmt: skip
def test_what_cannot_be(stated: dict[str, Any], at: tuple[str, ...], said: str, remedy: str) -> None:
    [(path, what, todo)] = _faults(stated)
    assert path == at and said in what and remedy in todo


def test_groups_left_out_means_all_that_are_no_baseline() -> None:
    assert judged_groups(_entry(), GROUPS) == ("a", "b")
    assert judged_groups(_entry(groups=["b", "raw"]), GROUPS) == ("raw", "b")


@pytest.mark.parametrize(
    ("one", "two", "said"),
    [
        ({}, {"at_most": 30}, "limited twice on the same side for group 'a'"),
        (
            {},
            {"at_most": None, "at_least": 40},
            "at least 40 and at most 40 in group 'a': no value does both",
        ),
        ({}, {"at_most": None, "at_least": 20}, ""),
        ({"groups": ["a"]}, {"at_most": 30, "groups": ["b"]}, ""),
        ({"groups": ["a"]}, {"at_most": 30, "groups": ["b", "a"]}, "for group 'a'"),
        ({}, {"of": "mean", "at_most": 30}, ""),
        ({}, {"figure": "median_depth_um"}, ""),
        ({}, {"at_most": None, "between": [10, 20]}, "limited twice"),
        ({}, {"at_most": None, "between": [50, 60]}, "at least 50 and at most 40"),
    ],
)
def test_criteria_that_clash(one: dict[str, Any], two: dict[str, Any], said: str) -> None:
    found = list(criterion_clashes({0: _entry(**one), 3: _entry(**two)}, GROUPS))
    assert [(i, k) for i, k, _, _ in found] == ([(0, 3)] if said else [])
    assert not said or said in found[0][2]


def test_in_a_manifest(tmp_path: Path) -> None:
    text = '[[criterion]]\nfigure = "mass_loss_rate_mm_per_y"\nat_most = 0.5\ngroups = ["a"]\nnote = "n"\n'
    (tmp_path / "study.toml").write_text(HEAD + text, encoding="utf-8")
    [criterion] = load_study(tmp_path).criteria
    assert criterion.limits == Limits(at_most=0.5) and criterion.groups == ("a",)
    (tmp_path / "study.toml").write_text(HEAD, encoding="utf-8")
    assert load_study(tmp_path).criteria == ()


@pytest.mark.parametrize(
    ("added", "said"),
    [
        ('figure = "depth"\nat_most = 1\n', "study.toml:12: there is no figure 'depth'"),
        ('figure = "max_depth_um"\nat_most = 1\ngroups = ["a",\n"c"]\n', ":15: there is no group 'c'"),
        ('figure = "max_depth_um"\nat_most = "40 um"\n', ":13: at_most = '40 um' cannot be used"),
        (
            'figure = "max_depth_um"\nat_most = 4\n[[criterion]]\nfigure = "max_depth_um"\nat_least = 5\n',
            ":15: max_depth_um is to be at least 5 and at most 4 in group 'a': no value does both; the other "
            "stands at study.toml:12",
        ),
    ],
)
def test_faults_of_the_manifest_name_file_and_line(tmp_path: Path, added: str, said: str) -> None:
    assert said in _said(tmp_path, f"[[criterion]]\n{added}")
