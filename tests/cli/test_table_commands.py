"""The command `extremes`: what it prints, writes and refuses."""

import json

import numpy as np
import pytest

from surfscan.cli import main

AREAS = ["--block-area-mm2", "2", "--part-area-mm2", "200"]


@pytest.fixture
def table(tmp_path):
    """Twenty invented blocks, one with a floor that was not seen, one without pits."""
    depths = 20 + 4 * np.random.default_rng(1).gumbel(size=20)
    rows = [f"{d:.2f},{'true' if i == 3 else 'false'}" for i, d in enumerate(depths)]
    rows[7] = "0,false"
    path = tmp_path / "maxima.csv"
    path.write_text("max_depth_um,floor_unseen\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def _run(table, *more):
    return main(["extremes", str(table), "--value", "max_depth_um", *AREAS, *more])


def test_summary(table, capsys):
    assert _run(table, "--censored", "floor_unseen", "--detection-limit", "12") == 0
    said = capsys.readouterr().out
    assert "return level" in said and "µm (95 % interval" in said
    assert "20, 1 lower bound, 1 upper bound" in said
    assert "Gumbel by maximum likelihood" in said
    assert "one block in 100 has a deeper pit, and 63 % of such parts" in said
    assert "warning: " in said


def test_json(table, tmp_path, capsys):
    """Strict JSON with the contract's keys; nothing else on standard output; warnings on standard error."""
    assert _run(table, "--censored", "floor_unseen", "--detection-limit", "12", "--json", "-") == 0
    shown = capsys.readouterr()
    found = json.loads(shown.out)
    keys = {"source", "settings", "warnings", "fit", "return_level", "return_level_ci95", "probability_plot"}
    assert keys | {"version"} <= set(found)
    assert found["source"]["path"] == str(table)
    assert found["settings"]["value"] == "max_depth_um"
    assert found["settings"]["censored"] == "floor_unseen"
    assert found["return_level_ci95"][0] < found["return_level"] < found["return_level_ci95"][1]
    assert len(found["probability_plot"]) == 20
    assert shown.err.count("warning: ") == len(found["warnings"]) > 0
    out = tmp_path / "out.json"
    assert _run(table, "--censored", "floor_unseen", "--detection-limit", "12", "--json", str(out)) == 0
    assert out.read_text(encoding="utf-8") == shown.out


def test_lmoments_and_gev_are_passed_on(table, capsys):
    assert _run(table, "--detection-limit", "12", "--method", "lmoments") == 2
    assert "L-moments" in capsys.readouterr().err
    assert _run(table, "--detection-limit", "12", "--model", "gev") == 2
    assert "GEV needs at least 30" in capsys.readouterr().err


def test_marks_of_upper_bounds(tmp_path, capsys):
    path = tmp_path / "maxima.csv"
    path.write_text("d;below\n" + "".join(f"{10 + i},5;{int(i < 2)}\n" for i in range(12)), encoding="utf-8")
    assert main(["extremes", str(path), "--value", "d", *AREAS, "--below", "below"]) == 0
    assert "12, 2 upper bounds" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ([], "no pit found is not a depth of 0"),
        (["--detection-limit", "12", "--part-area-mm2", "1"], "not larger than one block"),
        (["--value", "depth"], "no column 'depth'"),
        (["--json", "nowhere/out.json"], "does not exist"),
    ],
)
def test_refusals(table, more, said, capsys):
    assert _run(table, *more) == 2
    shown = capsys.readouterr()
    assert said in shown.err and shown.out == ""


def test_output_over_the_table_is_refused(table, capsys):
    assert _run(table, "--json", str(table)) == 2
    assert "would overwrite" in capsys.readouterr().err


@pytest.mark.parametrize("left_out", ["--block-area-mm2", "--part-area-mm2", "--value"])
def test_areas_and_column_must_be_given(table, left_out, capsys):
    arguments = ["extremes", str(table), "--value", "max_depth_um", *AREAS]
    at = arguments.index(left_out)
    assert main(arguments[:at] + arguments[at + 2 :]) == 2
    assert left_out in capsys.readouterr().err
