"""The command exposure: what it prints, writes and refuses."""

import json

import pytest

from surfscan.cli import main


@pytest.fixture
def log(tmp_path):
    lines = ["time,temperature (°C),pH,flow (mL/min),p before (kPa),p after (kPa),acid (mL)"]
    lines += [
        f"2001-03-{4 + k // 1440:02d}T{k // 60 % 24:02d}:{k % 60:02d}:00,37.{k % 7},7.4{k % 5},{100 + k % 3},"
        f"{12 + k % 4 / 10:.1f},2.{k % 3},{k // 100 * 0.05:.2f}"
        for k in range(3000)
    ]
    path = tmp_path / "rig.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def settings(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(
        "[exposure]\ntemperature_degC = 37.3\ntemperature_tolerance_degC = 1\npH = 7.4\npH_tolerance = 0.2\n",
        encoding="utf-8",
    )
    return path


def test_text(log, settings, capsys):
    stated = ["--material", "Mg", "--area-cm2", "10", "--acid-mol-per-l", "0.1", "--settings", str(settings)]
    assert main(["exposure", str(log), *stated]) == 0
    said = capsys.readouterr().out
    assert said.startswith(f"{log}: exposure valid\n")
    assert "immersed         49.983 h, 2001-03-04T00:00:00 to 2001-03-06T01:59:00, 3000 readings" in said
    assert "in range         49.983 h (100 %)" in said
    assert "in 37.3 ± 1 for 100 %" in said
    assert "kPa min/mL" in said
    assert "1.45 mL, 1.762 mg of metal" in said
    assert "reads low" in said


def test_json(log, settings, tmp_path, capsys):
    assert main(["exposure", str(log), "--settings", str(settings), "--json", "-"]) == 0
    shown = capsys.readouterr()
    found = json.loads(shown.out)
    for name in ("verdict", "immersed_h", "in_range_h", "acid_balance"):
        assert found[name] == found["summary"][name]
    assert found["channels"] and "excursions" in found
    assert found["procedure"] == "exposure"
    assert found["summary"]["verdict"] == "exposure valid"
    assert found["settings"]["pH"] == 7.4
    assert [row["channel"] for row in found["channels"]][:2] == ["temperature", "pH"]
    assert {"excursions", "acid_over_time", "log_trace"} <= set(found)
    out = tmp_path / "out.json"
    assert main(["exposure", str(log), "--settings", str(settings), "--json", str(out)]) == 0
    assert out.read_text(encoding="utf-8") == shown.out


def test_window_and_no_set_points(log, capsys):
    assert main(["exposure", str(log), "--start", "2001-03-04T10:00", "--stop", "20"]) == 0
    said = capsys.readouterr().out
    assert "exposure valid with reservations" in said
    assert "reservation: No set point is stated" in said
    assert "immersed         10 h" in said
    assert "mL; No rate from acid without the concentration of the acid" in said


@pytest.mark.parametrize(
    ("options", "fault"),
    [
        (["--area-cm2", "0"], "the area must be above 0"),
        (["--acid-mol-per-l", "-1"], "--acid-mol-per-l"),
        (["--start", "soon"], "neither a stamp nor"),
        (["--material", "unobtainium"], "unobtainium"),
    ],
)
def test_refused(log, options, fault, capsys):
    assert main(["exposure", str(log), *options]) == 2
    assert fault in capsys.readouterr().err


def test_json_over_the_log_is_refused(log, capsys):
    before = log.read_bytes()
    assert main(["exposure", str(log), "--json", str(log)]) == 2
    assert log.read_bytes() == before


def test_a_file_that_is_no_log(tmp_path, capsys):
    path = tmp_path / "letter.txt"
    path.write_text("Dear colleague,\nhere is the log.\n", encoding="utf-8")
    assert main(["exposure", str(path)]) == 2
    assert "holds no readings" in capsys.readouterr().err
