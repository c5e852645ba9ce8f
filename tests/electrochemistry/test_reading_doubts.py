"""Sweep files whose plain reading would be wrong without a word: told apart, said, or refused."""

import numpy as np
import pytest

from surfscan.electrochemistry.reading import read_sweep
from surfscan.errors import InputError

ZERO_V = -0.512
UP = np.round(np.arange(-0.65, -0.399, 0.001), 6)
LOOP = np.concatenate([UP, UP[-2::-1]])


def activation(potential):
    """Current of two branches with slopes of 70 and 120 mV a decade, A."""
    return 2e-5 * (10 ** ((potential - ZERO_V) / 0.07) - 10 ** (-(potential - ZERO_V) / 0.12))


CURRENT = activation(LOOP)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "sweep.txt"


def text_of(columns, header="", delimiter="\t"):
    rows = (delimiter.join(f"{v:.6e}" for v in row) for row in zip(*columns, strict=True))
    return header + "\n".join(rows) + "\n"


def roles(sweep):
    return {read.role: (read.column, read.unit, read.how) for read in sweep.columns}


def test_quoted_headings_keep_their_units(path):
    rows = (f'"{e:.4f}","{1e3 * i:.6e}"' for e, i in zip(LOOP, CURRENT, strict=True))
    path.write_text('"E, V","I, mA"\n' + "\n".join(rows))
    sweep = read_sweep(path)
    np.testing.assert_allclose(sweep.current_A, CURRENT, rtol=1e-6)
    assert sweep.warnings == ()
    path.write_text(text_of((LOOP, 1e3 * CURRENT), "E, V,I, mA\n", ","))
    with pytest.raises(InputError, match="2 values stand here, under 4 headings") as caught:
        read_sweep(path)
    assert caught.value.path == f"{path}:2"
    stated = read_sweep(
        path, columns={"potential": 1, "current": 2}, units={"potential": "V", "current": "mA"}
    )
    np.testing.assert_allclose(stated.current_A, CURRENT, rtol=1e-6)


def test_units_beside_numbers(path):
    volts = [f"{e:.4f} V" for e in LOOP]
    mixed = [f"{1e6 * i:.4f} µA" if abs(i) > 1e-5 else f"{1e9 * i:.4f} nA" for i in CURRENT]
    stated = {"columns": {"potential": 1, "current": 3}, "units": {"potential": "V", "current": "µA"}}
    for header, kinds in (("E\tI\n", ({}, stated)), ("", ({}, stated)), ("E (V)\tI (µA)\n", ({}, stated))):
        path.write_text(header + "\n".join(map("\t".join, zip(volts, mixed, strict=True))), encoding="utf-8")
        for kind in kinds:
            with pytest.raises(InputError, match=r"stands in a cell|values stand here"):
                read_sweep(path, **kind)
    alike = [f"{1e6 * i:.6f} µA" for i in CURRENT]
    path.write_text("\n".join(map("\t".join, zip(volts, alike, strict=True))), encoding="utf-8")
    with pytest.raises(InputError, match="the unit 'µA' stands in a cell") as caught:
        read_sweep(path)
    assert '"current": "µA"' in caught.value.remedy
    np.testing.assert_allclose(read_sweep(path, **stated).current_A, CURRENT, atol=1e-12)


def test_a_column_of_current_ranges_is_no_unit(path):
    rows = [
        f"{e:.4f};{1e3 * i:.6e};{'1 mA' if e < -0.5 else '100 µA'}"
        for e, i in zip(LOOP, CURRENT, strict=True)
    ]
    path.write_text("E (V);I (mA);Range\n" + "\n".join(rows), encoding="utf-8")
    np.testing.assert_allclose(read_sweep(path).current_A, CURRENT, rtol=1e-6)
    path.write_text("E;I;Range\n" + "\n".join(rows), encoding="utf-8")
    with pytest.raises(InputError, match="stands in a cell"):
        read_sweep(path)


def test_natural_logarithms(path):
    flow = activation(LOOP + 2e-4)
    path.write_text(text_of((LOOP + 2e-4, np.log(1e6 * np.abs(flow))), "E (V)\tln(i) (µA/cm2)\n"), "utf-8")
    sweep = read_sweep(path)
    np.testing.assert_allclose(sweep.density_A_per_cm2, flow, rtol=1e-4)
    assert roles(sweep)["current density"] == (2, "ln µA/cm2", "name")


@pytest.mark.parametrize("stated", [None, "SCE"])
def test_potentials_from_rest_have_no_electrode(path, stated):
    path.write_text("Reference: SCE\n" + text_of((LOOP - ZERO_V, CURRENT), "E (V vs OCP)\tI (A)\n"))
    sweep = read_sweep(path, reference=stated)
    assert sweep.reference is None
    assert any("count from the rest potential" in warning for warning in sweep.warnings)


def test_a_column_of_ph_is_no_time(path):
    rest = np.full(LOOP.size, 7.4)
    path.write_text(text_of((LOOP, CURRENT, rest), "E (V)\tI (A)\tpH\n"))
    assert set(roles(read_sweep(path))) == {"potential", "current"}


@pytest.mark.parametrize("line", ["# range changed\n", "note\n", "\nE (V)\tI (A)\n"])
def test_lines_between_rows_part_no_scan_that_goes_on(path, line):
    lines = text_of((LOOP, CURRENT)).splitlines(keepends=True)
    path.write_text("E (V)\tI (A)\n" + "".join([*lines[:100], line, *lines[100:]]))
    sweep = read_sweep(path)
    assert [(s.start, s.stop, s.direction) for s in sweep.scans] == [(0, 251, 1), (250, 501, -1)]
    assert len(sweep.warnings) == 1
    assert "taken as one scan" in sweep.warnings[0]


def test_a_scan_named_within_a_run_is_its_own(path):
    lines = text_of((UP, activation(UP))).splitlines(keepends=True)
    path.write_text("E (V)\tI (A)\n" + "".join([*lines[:100], "# scan 2\n", *lines[100:]]))
    sweep = read_sweep(path)
    assert [(s.start, s.stop) for s in sweep.scans] == [(0, 100), (100, 251)]
    assert "scan of its own" in sweep.warnings[0]


def test_lines_in_no_order(path):
    order = np.random.default_rng(1).permutation(UP.size)
    path.write_text(text_of((UP[order], activation(UP)[order]), "E (V)\tI (A)\n"))
    with pytest.raises(InputError, match="the potential jumps about"):
        read_sweep(path)


def test_three_points_keep_their_sign(path):
    path.write_text("E (V)\tI (A)\n-0.67\t-8.6e-6\n-0.47\t-2.3e-6\n-0.27\t6.6e-5\n")
    np.testing.assert_allclose(read_sweep(path).current_A, [-8.6e-6, -2.3e-6, 6.6e-5])


@pytest.mark.parametrize(
    ("repeated", "fault"),
    [("E (V)\tI (mA)\n", "headed 'I .mA.' in column 2"), ("I (A)\tE (V)\n", "headed 'I .A.' in column 1")],
)
@pytest.mark.parametrize("start", [100, 0])
def test_repeated_headings_of_another_meaning(path, repeated, fault, start):
    lines = text_of((UP, activation(UP))).splitlines(keepends=True)
    path.write_text("E (V)\tI (A)\n" + "".join([*lines[: start or None], repeated, *lines[start:]]))
    with pytest.raises(InputError, match=fault) as caught:
        read_sweep(path)
    assert caught.value.path == f"{path}:{(start or 251) + 3}"


@pytest.mark.parametrize("header", ["", "E (V)\tI (A)\n", "E (V)\ti (A/cm2)\n"])
@pytest.mark.parametrize("potential", [LOOP + 2e-4, LOOP + 4e-4, UP[::10] + 2e-4])
def test_logarithms_that_no_heading_calls_so(path, header, potential):
    flow = np.log10(np.abs(activation(potential)))
    path.write_text(text_of((potential, flow), header))
    with pytest.raises(InputError, match="runs as logarithms do") as caught:
        read_sweep(path)
    assert "log10" in caught.value.remedy
    assert read_sweep(path, columns={"potential": 1, "current": 2}).current_A.size == potential.size


@pytest.mark.parametrize("noise", [0, 0.01, 0.1])
def test_cathodic_peaks_are_no_logarithms(path, noise):
    over = UP - UP.mean()
    factor = 1 + noise * np.random.default_rng(2).normal(size=UP.size)
    for peak in (np.exp(-((over / 0.05) ** 2)), 1 / (1 + (over / 0.03) ** 2), np.tanh(over / 0.03) ** 2):
        path.write_text(text_of((UP, -(1 + 8 * peak) * factor), "E (V)\tI (mA)\n"))
        assert read_sweep(path).current_A.size == UP.size


def test_a_scan_number_that_changes_within_a_run_is_said(path):
    path.write_text(text_of((UP, activation(UP), np.where(UP < -0.6, 1, 2)), "E (V)\tI (A)\tCycle\n"))
    sweep = read_sweep(path)
    assert len(sweep.scans) == 2
    assert [w for w in sweep.warnings if "scan number changes while the potential goes on (1 times" in w]
