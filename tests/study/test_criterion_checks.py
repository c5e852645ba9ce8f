"""Criteria that nothing in the study can decide are warned of, each at its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from surfscan.study.criterion_checks import criterion_findings
from surfscan.study.manifest import ManifestReader

HEAD = """\
title = "T"
[[group]]
name = "raw"
[[group]]
name = "a"
baseline = "raw"
[[group]]
name = "b"
[[specimen]]
id = "r"
group = "raw"
[[specimen]]
id = "s"
group = "a"
[[specimen]]
id = "t"
group = "b"
[[image]]
file = "s.png"
specimen = "s"
shows = "strut"
[[image]]
file = "t.png"
specimen = "t"
shows = "strut"
[[weighing]]
specimen = "s"
before_g = 1.0
cleaned_g = [0.9]
[[sweep]]
file = "e.csv"
specimen = "r"
twin_of = "t"
[[log]]
file = "l.csv"
group = "a"
"""


def _found(folder: Path, figure: str, more: str = "") -> list[str]:
    text = f'{HEAD}[[criterion]]\nfigure = "{figure}"\nat_most = 0.9\n{more}'
    (folder / "study.toml").write_text(text, encoding="utf-8")
    reader = ManifestReader(folder)
    study, faults = reader.read()
    assert faults == []
    found = list(criterion_findings(reader, study))
    line = HEAD.count("\n") + 2
    assert {f.where for f in found} <= {f"study.toml:{line}"} and {f.severity for f in found} <= {"warning"}
    return [f.what for f in found]


@pytest.mark.parametrize(
    ("figure", "missing"),
    [
        ("strut_loss_fraction", {}),
        ("remaining_section_fraction", dict.fromkeys("ab", "picture of a section")),
        ("max_depth_um", dict.fromkeys("ab", "height map")),
        ("degraded_area_fraction", dict.fromkeys("ab", "picture of a surface")),
        ("strut_width_rate_mm_per_y", {}),
        ("pit_volume_rate_mm_per_y", dict.fromkeys("ab", "height map")),
        ("mass_loss_rate_mm_per_y", {"b": "[[weighing]] entry"}),
        ("gas_rate_mm_per_y", dict.fromkeys("ab", "[[gas]] entry")),
        ("acid_rate_mm_per_y", {"b": "[[log]] entry"}),
        ("sweep_rate_mm_per_y", {"a": "[[sweep]] entry"}),
        ("polarization_resistance_rate_mm_per_y", {"a": "[[sweep]] entry"}),
    ],
)
def test_what_it_is_measured_on(tmp_path: Path, figure: str, missing: dict[str, str]) -> None:
    said = _found(tmp_path, figure)
    assert said == [
        f"the criterion on {figure} cannot be decided for group {group!r}: none of its specimens has a {what}"
        for group, what in missing.items()
    ]


def test_named_groups_alone_are_looked_at(tmp_path: Path) -> None:
    assert _found(tmp_path, "mass_loss_rate_mm_per_y", 'groups = ["a"]\n') == []
    assert "group 'raw'" in _found(tmp_path, "mass_loss_rate_mm_per_y", 'groups = ["raw"]\n')[0]


def test_means_of_few_specimens_stay_undecided(tmp_path: Path) -> None:
    few = _found(tmp_path, "strut_loss_fraction", 'of = "mean"\n')
    assert "over 1 specimen of group 'a' has no interval: it stays undecided" in few[0] and len(few) == 2
    assert _found(tmp_path, "strut_loss_fraction", 'of = "mean"\nrule = "simple"\n') == []


def test_empty_groups_and_faulty_manifests(tmp_path: Path) -> None:
    empty = _found(tmp_path, "strut_loss_fraction", '[[group]]\nname = "none"\n')
    assert empty == [
        "the criterion on strut_loss_fraction cannot be decided for group 'none': it has no specimen"
    ]
    assert list(criterion_findings(ManifestReader(tmp_path), None)) == []
