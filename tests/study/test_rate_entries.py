"""What one table of rates may say; faults stand at the key they are about."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.study.faults import describe
from surfscan.study.rate_entries import (
    PROCEDURE_OF,
    RATE_TABLES,
    GasEntry,
    LogEntry,
    Material,
    SweepEntry,
    WeighingEntry,
)

SWEEP: dict[str, Any] = {"file": "a.csv", "specimen": "s"}
WEIGHING: dict[str, Any] = {"specimen": "s", "before_g": 1.2, "cleaned_g": [1.1, 1.0]}
GAS: dict[str, Any] = {"specimen": "s", "hours": [1, 2], "volume_mL": [1, 2], "temperature_degC": 25}
LOG: dict[str, Any] = {"file": "l.csv", "specimens": ["s"]}


def _faults(model: type[Any], stated: dict[str, Any]) -> list[tuple[tuple[str | int, ...], str, str]]:
    with pytest.raises(ValidationError) as caught:
        model.model_validate(stated, strict=True)
    return describe(caught.value, model)


def test_every_table_has_its_procedure() -> None:
    assert set(PROCEDURE_OF) == set(RATE_TABLES.values())
    assert sorted(PROCEDURE_OF.values()) == ["exposure", "gas", "mass_loss", "sweep"]


@pytest.mark.parametrize("composition", [{"Mg": 0.96, "Al": 0.03}, {"Mg": 96, "Al": 3.0}])
def test_composition_as_fractions_or_percent(composition: dict[str, float]) -> None:
    material = Material(name="AZ", composition=composition, valences={"Mg": 2, "Al": 3})
    assert material.stated.mass_percent == pytest.approx({"Mg": 96.0, "Al": 3.0})
    assert (material.stated.source, material.stated.valences) == ("study.toml", {"Mg": 2, "Al": 3})


@pytest.mark.parametrize(
    ("stated", "at", "said"),
    [
        ({"composition": {"Mg": 0.5}}, ("composition",), "adds up to 0.5"),
        ({"composition": {"Mg": 96, "Al": 0.03}, "valences": {"Mg": 2}}, (), "valence of Al"),
        ({"composition": {"Xx": 100}}, (), "Xx is no element"),
        ({"composition": {"Mg": 100}, "valences": {"Mg": 9}}, ("valences", "Mg"), "Mg = 9 cannot be used"),
        ({"equivalent_weight": 0}, ("equivalent_weight",), "cannot be used"),
    ],
)
def test_materials_that_cannot_be(stated: dict[str, Any], at: tuple[str, ...], said: str) -> None:
    [(path, what, _)] = _faults(Material, {"name": "AZ", **stated})
    assert path == at and said in what


@pytest.mark.parametrize(
    ("model", "stated", "at", "said"),
    [
        (SweepEntry, SWEEP | {"twin_of": "s"}, "twin_of", "its own twin"),
        (SweepEntry, SWEEP | {"area_relative_uncertainty": 0.1}, "area_relative_uncertainty", "without area"),
        (SweepEntry, SWEEP | {"columns": {"volts": 1}}, "columns", "columns has no 'volts'"),
        (SweepEntry, SWEEP | {"area_mm2": 100}, "area_mm2", "unknown key 'area_mm2'"),
        (SweepEntry, SWEEP | {"area_cm2": 0}, "area_cm2", "cannot be used"),
        (WeighingEntry, WEIGHING | {"blank_g": [1.0, 0.9]}, "blank_g", "2 masses, and there are 2 cleaning"),
        (WeighingEntry, WEIGHING | {"blank_loss_mg": [1.0]}, "blank_loss_mg", "1 losses"),
        (WeighingEntry, WEIGHING | {"blank_area_cm2": 1.0}, "blank_area_cm2", "without a blank"),
        (
            WeighingEntry,
            WEIGHING | {"blank_g": [1.0, 0.9, 0.8], "blank_loss_mg": [1, 1]},
            "blank_loss_mg",
            "both tell",
        ),
        (WeighingEntry, WEIGHING | {"hours": 0}, "hours", "cannot be used"),
        (GasEntry, GAS | {"file": "g.csv"}, None, "both in g.csv and in hours and volume_mL"),
        (GasEntry, GAS | {"volume_mL": [1]}, "volume_mL", "2 hours and 1 volumes"),
        (GasEntry, {"specimen": "s", "hours": [1], "temperature_degC": 25}, None, "no readings"),
        (GasEntry, GAS | {"columns": {"hours": "t"}}, "columns", "without a file"),
        (LogEntry, {"file": "l.csv"}, None, "neither is named"),
        (LogEntry, LOG | {"group": "g"}, None, "both are named"),
        (LogEntry, LOG | {"specimens": ["s", "s"]}, "specimens", "stands twice"),
        (LogEntry, LOG | {"pH": 7.4}, None, "pH and pH_tolerance are stated both or not at all"),
    ],
)
def test_contradictions(model: type[Any], stated: dict[str, Any], at: str | None, said: str) -> None:
    [(path, what, _)] = _faults(model, stated)
    assert path == ((at,) if at else ()) and said in what


def test_names_in_the_store() -> None:
    assert SweepEntry(file="x\\a.csv", specimen="s").entry_id == "x/a.csv"
    assert WeighingEntry(**WEIGHING).entry_id == "weighing of s"
    assert GasEntry(**GAS).entry_id == "gas of s"
    assert GasEntry(specimen="s", file="g.csv", temperature_degC=[20, 21]).entry_id == "g.csv"
    assert LogEntry(**LOG).entry_id == "l.csv"


def test_blank_as_losses_stands_for_masses() -> None:
    entry = WeighingEntry(**WEIGHING, blank_loss_mg=[1.0, 2.0])
    assert entry.blank_masses_g == pytest.approx((1.2, 1.199, 1.197))
    assert WeighingEntry(**WEIGHING, blank_g=[2.0, 1.9, 1.8]).blank_masses_g == (2.0, 1.9, 1.8)
    assert WeighingEntry(**WEIGHING).blank_masses_g == ()


def test_a_log_takes_the_general_settings_but_for_its_own() -> None:
    general = ExposureSettings(pH=7.4, pH_tolerance=0.1, gap_intervals=5, units={"flow": "L/h"})
    settings = LogEntry(**LOG, pH=6.0, pH_tolerance=0.2).settings(general)
    assert (settings.pH, settings.pH_tolerance, settings.gap_intervals) == (6.0, 0.2, 5.0)
    assert settings.units == {"flow": "L/h"} and type(settings) is ExposureSettings
