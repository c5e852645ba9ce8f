from pathlib import Path

import numpy as np
import pytest

from surfscan.electrochemistry.column_roles import assign_roles
from surfscan.electrochemistry.headers import read_headings
from surfscan.electrochemistry.table_form import TableForm
from surfscan.errors import InputError

E = np.arange(-0.6, -0.3, 0.002)
I = 1e-5 * (10 ** ((E + 0.45) / 0.08) - 10 ** (-(E + 0.45) / 0.12))  # noqa: E741
T = 2.0 * np.arange(E.size)


def assign(header, *columns, **more):
    values = np.column_stack(columns)
    words = (False,) * len(columns)
    headings = read_headings([header] if header else [], TableForm("\t", ".", words, False, True))
    roles, warnings = assign_roles(Path("file.txt"), values, headings, words, **more)
    return {role: (found.column, found.read.how) for role, found in roles.items()}, roles, warnings


def test_names_in_part_content_for_the_rest():
    found, _, _ = assign("a\tb\tt (s)", I, E, T)
    assert found == {"potential": (1, "content"), "current": (0, "content"), "time": (2, "name")}
    found, _, _ = assign("E (V)\tx", E, I)
    assert found == {"potential": (0, "name"), "current": (1, "content")}


def test_density_before_current_and_signed_before_logarithm():
    found, roles, warnings = assign(
        "E (V)\tI (A)\tj (A/cm²)\tlog j (A/cm²)", E, I, I / 2, np.log10(np.abs(I))
    )
    assert found == {"potential": (0, "name"), "current density": (2, "name")}
    assert not roles["current density"].is_logarithm
    assert len(warnings) == 1
    found, _, _ = assign("E (V)\tI (A)\tlog j (A/cm²)", E, I, np.log10(np.abs(I)))
    assert found["current"] == (1, "name")


def test_measured_before_set_potential():
    found, _, _ = assign("applied potential (V)\tpotential (V)\tI (A)", E, E + 1e-4, I)
    assert found["potential"] == (1, "name")


def test_two_potentials_that_differ_are_refused():
    with pytest.raises(InputError, match="more than one column is headed as potential"):
        assign("E (V)\tE (V)\tI (A)", E, E + 0.1, I)
    assert assign("E (V)\tE (V)\tI (A)", E, E, I)[0]["potential"] == (0, "name")


def test_copies_of_a_current_without_names():
    found, _, _ = assign("", E, I, I / 1.5, np.abs(I))
    assert found["current"] == (1, "content")
    with pytest.raises(InputError, match="which column is the current") as caught:
        assign("", E, I, np.exp(-E))
    assert "columns = " in caught.value.remedy


def test_missing_roles_list_the_headings():
    with pytest.raises(InputError, match="no column is the current") as caught:
        assign("E (V)\tT (°C)", E, 25 + I)
    assert "2 'T (°C)'" in caught.value.remedy
    with pytest.raises(InputError, match="no column is the potential"):
        assign("I (A)\tP (W)\tt (s)", I, np.ones(E.size), T)


def test_units_assumed_and_units_that_do_not_fit():
    _, roles, warnings = assign("E\tI", 1e3 * E, I)
    assert roles["potential"].factor == 1e-3
    assert "mV is taken (values up to 600)" in warnings[0]
    _, roles, warnings = assign("E (V)\tI (A)", E, I, stated={"current density": 2})
    assert roles["current density"].factor == 1
    assert "is none of current density" in warnings[0]


def test_clock_column_is_the_time():
    found, roles, _ = assign("", T, E, I, clocks=(0,))
    assert found["time"] == (0, "content")
    assert roles["time"].read.unit == "s"
