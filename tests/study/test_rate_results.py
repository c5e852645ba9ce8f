"""Rates as results: what is summed up, and that all of it can be stored."""

from __future__ import annotations

import json
import math

import numpy as np

from surfscan.images import Source
from surfscan.immersion.estimates import refused_rate
from surfscan.immersion.settings import ImmersionSettings
from surfscan.materials.catalogue import find_material
from surfscan.study.conditions import Conditions
from surfscan.study.rate_results import plain, rate_result, told


def test_plain_values() -> None:
    given = {"a": np.array([1.0, np.nan]), "b": (np.float64(2.0), math.inf), 3: np.int64(4), "c": {"d": "e"}}
    assert plain(given) == {"a": [1.0, None], "b": [2.0, None], "3": 4, "c": {"d": "e"}}


def test_a_refused_rate_is_a_result_too() -> None:
    conditions = Conditions(("P1",), 2.0, None, "stated", find_material("Zn"), warnings=("doubtful",))
    estimate = refused_rate("gas", "no hydrogen", 0.0, 48.0, ("careful",))
    result = rate_result(
        "gas", Source("g.csv"), ImmersionSettings(), conditions, [estimate], {"held_mL": math.nan}, ["late"]
    )
    assert (result.procedure, result.warnings) == ("gas", ("doubtful", "careful", "late"))
    assert result.summary["refused"] == "no hydrogen" and result.summary["held_mL"] is None
    assert result.summary["rate_mm_per_y"] is None
    json.dumps(result.summary, allow_nan=False)
    table = result.tables["immersion_rates"]
    assert table["refused"].tolist() == ["no hydrogen"] and math.isnan(table["rate_mm_per_y"][0])


def test_what_is_told_of_specimens() -> None:
    said = told(Conditions(("A", "B"), 3.0, 0.1, "sum"))
    assert said == {
        "specimens": ["A", "B"],
        "area_cm2": 3.0,
        "area_relative_uncertainty": 0.1,
        "area_from": "sum",
        "material": None,
    }
