"""Area, material and hours of the specimens behind a rate, and what is said of where they come from."""

from __future__ import annotations

from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.study.conditions import Conditions, LogHours, conditions_of, hours_differ
from surfscan.study.entries import Study
from surfscan.study.manifest import load_study

LOGGED = {"rates/log.csv": LogHours(46.0, "exposure valid")}


def _study(folder: Path, *changes: tuple[str, str]) -> Study:
    text = (folder / "study.toml").read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "study.toml").write_text(text)
    return load_study(folder)


def _weighing(study: Study, logs: dict[str, LogHours]) -> Conditions:
    return conditions_of(study, study.weighings[0], logs)


def test_hours_of_the_log_take_the_place_of_those_of_the_specimen(rate_study: Path) -> None:
    study = _study(rate_study)
    found = _weighing(study, LOGGED)
    assert (found.hours, found.hours_from) == (46.0, "immersed hours of the log rates/log.csv")
    assert found.warnings == ()
    shorter = _weighing(study, {"rates/log.csv": LogHours(30.0, "exposure not valid")})
    assert shorter.hours == 30.0
    assert shorter.warnings[0] == "The log rates/log.csv says: exposure not valid."
    assert "exposure_h says 48 h" in shorter.warnings[1]


def test_hours_without_a_log_that_tells(rate_study: Path) -> None:
    failed = _weighing(_study(rate_study), {})
    assert (failed.hours, failed.hours_from) == (48.0, "exposure_h of the specimen")
    assert "gave no hours" in failed.warnings[0]
    part = _weighing(_study(rate_study, ("acid_mol", 'covers = "part"\nacid_mol')), LOGGED)
    assert (part.hours, part.warnings) == (48.0, ())
    none = _weighing(_study(rate_study, ("exposure_h = 48\n", "")), LOGGED)
    assert none.hours is None
    with pytest.raises(InputError, match="the immersed time of P1 is not known"):
        none.known_hours()


def test_stated_hours_come_first(rate_study: Path) -> None:
    found = _weighing(_study(rate_study, ("[[weighing]]", "[[weighing]]\nhours = 20")), LOGGED)
    assert (found.hours, found.hours_from) == (20.0, "stated with the weighing")
    assert "the log rates/log.csv says 46 h" in found.warnings[0]


def test_two_logs_of_the_whole_exposure_give_no_hours(rate_study: Path) -> None:
    study = _study(rate_study, ("[[log]]", '[[log]]\nfile = "b.csv"\ngroup = "g"\n[[log]]'))
    found = _weighing(study, LOGGED | {"b.csv": LogHours(40.0, "exposure valid")})
    assert found.hours == 48.0 and "all claim to cover the whole exposure" in found.warnings[0]


def test_areas_and_where_they_come_from(rate_study: Path) -> None:
    study = _study(rate_study)
    computed = conditions_of(study, study.gas[0], {})
    assert computed.area_cm2 == pytest.approx(5.2)
    assert computed.area_from == "computed from the dimensions of P1 as a plate"
    stated = conditions_of(study, study.sweeps[0], {})
    assert (stated.area_cm2, stated.area_relative_uncertainty) == (1.0, 0.02)
    own = study.sweeps[0].model_copy(update={"area_cm2": 0.5, "area_relative_uncertainty": 0.1})
    assert conditions_of(study, own, {}).area_from == "area_cm2 of the sweep"
    assert conditions_of(study, own, {}).area_relative_uncertainty == 0.1


def test_specimens_of_one_vessel_count_together(rate_study: Path) -> None:
    study = _study(rate_study, ('specimens = ["P1"]', 'specimens = ["P1", "E1"]'))
    found = conditions_of(study, study.logs[0], {})
    assert found.area_cm2 == pytest.approx(6.2)
    share = study.specimen("P1").wetted_relative_uncertainty
    assert share is not None
    assert found.area_relative_uncertainty == pytest.approx((5.2 * share + 1.0 * 0.02) / 6.2)
    assert found.area_from == "sum over P1, E1, which share one vessel"
    assert found.material is not None and found.material.name == "AZ31"
    assert [check.used_at_degC for check in found.checks] == [37.0]


def test_what_hinders_a_rate_from_shared_acid(rate_study: Path) -> None:
    group = ('specimens = ["P1"]', 'group = "g"')
    zinc = ('material = "AZ31"\nsurface_area_mm2 = 100', 'material = "Zn"\nsurface_area_mm2 = 100')
    found = conditions_of(study := _study(rate_study, group, zinc), study.logs[0], {})
    assert found.material is None and "not of one material" in found.warnings[0]
    bare = ("surface_area_mm2 = 100\nsurface_area_relative_uncertainty = 0.02\n", "")
    found = conditions_of(study := _study(rate_study, bare), study.logs[0], {})
    assert (found.area_cm2, found.area_from) == (None, "E1 state none")
    with pytest.raises(InputError, match="the wetted surface is not known: E1 state none"):
        found.known_area_cm2()
    with pytest.raises(InputError, match="the material of P1 and E1 is not known"):
        found.known_material()


def test_drift_of_the_balance_enters_weighings(rate_study: Path) -> None:
    found = _weighing(_study(rate_study), LOGGED)
    assert found.balance_drift_mg == pytest.approx(0.1 / 12**0.5)


def test_all_conditions_are_decisive(rate_study: Path) -> None:
    study = _study(rate_study)
    found = conditions_of(study, study.logs[0], {}).decisive()
    assert set(found) == set(Conditions.__dataclass_fields__)
    assert found["material"]["name"] == "AZ31" and found["checks"][0]["read_after"] == 0.1


@pytest.mark.parametrize(("one", "other", "differ"), [(48, 44, False), (48, 43, True), (0.5, 48, True)])
def test_hours_that_differ(one: float, other: float, differ: bool) -> None:
    assert hours_differ(one, other) is hours_differ(other, one) is differ
