"""What the terminal says of a sweep."""

import numpy as np

from surfscan.cli.sweep_text import sweep_text
from surfscan.electrochemistry.analysis import measure_sweep
from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.sweep import Scan, Sweep
from surfscan.images import Source
from surfscan.materials.catalogue import find_material

HALF = -0.5 + np.arange(-0.2, 0.2003, 0.002)
CURVE = MixedControl(-0.5, 10.0, 0.08, 0.12, 0.1)


def _measured(potential, density, **more):
    top = int(np.argmax(potential))
    scans = [Scan(0, top + 1, 1)]
    if top < potential.size - 1:
        scans.append(Scan(top, potential.size, -1))
    sweep = Sweep(
        Source("made.csv", "0" * 64), potential, None, 1e-6 * density, None, tuple(scans), "SCE", 1e-3, "", ()
    )
    return measure_sweep(sweep, **more)


def test_value_window_method_and_rate():
    said = sweep_text(_measured(HALF, current_density_uA_per_cm2(HALF, CURVE), material=find_material("316")))
    lines = said.splitlines()
    assert lines[0].startswith("made.csv: corrosion current ")
    assert "95 % interval" in lines[0]
    assert any(line.split()[:1] == ["rate"] and "mm/y" in line for line in lines)
    assert any("fit of both branches (mixed control" in line and "from -0.700" in line for line in lines)
    assert any(line.strip().startswith("by Stern-Geary") for line in lines)
    assert any("1 of 1, rising, 1 mV/s" in line for line in lines)


def test_refusals_with_reasons():
    near = np.abs(HALF + 0.5) < 0.03
    said = sweep_text(_measured(HALF[near], current_density_uA_per_cm2(HALF[near], CURVE)))
    assert "by fit of both branches  none: " in said
    assert "Stern-Geary with assumed B" in said
    anodic = sweep_text(_measured(HALF[150:], current_density_uA_per_cm2(HALF[150:], CURVE)))
    assert "no corrosion current" in anodic.splitlines()[0]
    assert anodic.count("none: the run is anodic throughout") == 2


def test_cyclic_rows():
    up = np.arange(-0.35, 0.45, 0.001)
    down = up[::-1][1:650]
    passive = 0.5 * np.tanh((up + 0.25) / 0.02)
    whole = np.concatenate([up, down])
    held = np.concatenate([passive, 0.5 * np.tanh((down + 0.25) / 0.02)])
    said = sweep_text(_measured(whole, held))
    assert "none up to the vertex: 0.449 V or more" in said
    forward = passive + 0.5 * 10 ** np.clip(25 * (up - 0.35), -9, 9)
    share = np.clip((down - 0.05) / 0.4, -0.2, 1)
    reverse = 0.5 * np.tanh((down + 0.25) / 0.02) + forward[-1] * np.sign(share) * share**2
    said = sweep_text(_measured(whole, np.concatenate([forward, reverse])))
    assert "breakdown potential" in said
    assert "protection potential" in said
    assert " V vs SCE (between 0." in said
    assert "at fixed density" in said
    retraced = sweep_text(_measured(whole, np.concatenate([forward, np.interp(down, up, forward)])))
    assert "is a uniform reaction" in retraced
