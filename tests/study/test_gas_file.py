"""Burette readings from text: headings, units and decimal marks as people write them."""

from __future__ import annotations

from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.study.gas_file import read_gas


def _file(folder: Path, text: str) -> Path:
    path = folder / "gas.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "text",
    [
        "hours,volume_mL\n0,0\n24,1.5\n48,3\n",
        "Hours;Volume (mL)\n0;0\n24;1,5\n48;3\n",
        "time (d)\tgas [L]\n0\t0\n1\t0.0015\n2\t0.003\n",
        "Time / min,Temperature (°C),H2 volume (cm³)\n0,25,0\n1440,25,1.5\n2880,25,3\n",
    ],
)
def test_hours_and_volume(tmp_path: Path, text: str) -> None:
    readings = read_gas(_file(tmp_path, text), {})
    assert readings.hours.tolist() == pytest.approx([0, 24, 48])
    assert readings.volume_mL.tolist() == pytest.approx([0, 1.5, 3])
    assert len(readings.sha256) == 64 and " in " in readings.columns["volume"]


def test_stated_columns_come_first(tmp_path: Path) -> None:
    path = _file(tmp_path, "hours,volume A (mL),volume B (mL)\n0,0,0\n24,1,2\n48,3,4\n")
    with pytest.raises(InputError, match="several columns could be the volume"):
        read_gas(path, {})
    assert read_gas(path, {"volume": "volume B (mL)"}).volume_mL.tolist() == [0, 2, 4]
    with pytest.raises(InputError, match="there is no column 'x' for volume"):
        read_gas(path, {"volume": "x"})


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("hours,volume\n0,0\n1,2\n2,3\n", "the unit of the column 'volume' is not told"),
        ("a,b\n0,0\n1,2\n2,3\n", "no column could be the hours"),
        ("hours,volume_mL\n0,0\n1,\n2,3\n", "no number under 'volume_mL' in line 3"),
    ],
)
def test_faults(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_gas(_file(tmp_path, text), {})
