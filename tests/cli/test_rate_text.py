"""Rates and exposures as lines of text, on figures put in by hand."""

from surfscan.cli.rate_text import rate_of, rates_text
from surfscan.store.results import StoredResult
from surfscan.study.entries import Group, Specimen, Study
from surfscan.study.rate_entries import GasEntry, LogEntry, SweepEntry, WeighingEntry

RATE = {"rate_mm_per_y": 0.2222, "rate_mm_per_y_ci95": [0.21, 0.2344], "refused": "", "bias": ""}


def study(tmp_path):
    return Study(
        folder=tmp_path,
        title="T",
        groups=(Group(name="g"),),
        specimens=(Specimen(id="P1", group="g"), Specimen(id="E1", group="g")),
        sweeps=(SweepEntry(file="s.csv", specimen="E1", twin_of="P1"),),
        weighings=(WeighingEntry(specimen="P1", before_g=1.0, cleaned_g=[0.9]),),
        gas=(GasEntry(specimen="P1", hours=[1], volume_mL=[1], temperature_degC=25),),
        logs=(LogEntry(file="l.csv", group="g"),),
    )


def stored(name, procedure, summary):
    return {(name, procedure): StoredResult(name, "P1", procedure, "f", "done", summary=summary)}


def test_a_line_for_each_rate_and_each_log(tmp_path):
    acid = {"rate": RATE | {"bias": "reads low"}}
    results = (
        stored("s.csv", "sweep", RATE | {"Ecorr_V": -1.5, "Ecorr_V_ci95": [-1.52, -1.48], "reference": "SCE"})
        | stored("weighing of P1", "mass_loss", RATE)
        | stored("l.csv", "exposure", {"immersed_h": 40.0, "in_range_h": 38.0, "verdict": "exposure valid",
                                       "acid_balance": acid})
    )  # fmt: skip
    results["gas of P1", "gas"] = StoredResult("gas of P1", "P1", "gas", "f", "failed", "no area")
    assert rates_text(study(tmp_path), results) == [
        "",
        "Rates",
        "  E1 for P1  sweep      0.222 mm/y (0.210 to 0.234); Ecorr −1.500 V vs SCE",
        "  P1         mass loss  0.222 mm/y (0.210 to 0.234)",
        "  P1         gas        failed: no area",
        "  P1, E1     acid       0.222 mm/y (0.210 to 0.234), reads low",
        "",
        "Exposures",
        "  l.csv  P1, E1: 40 h immersed, 38 h in range; exposure valid",
    ]


def test_what_is_not_there_is_said(tmp_path):
    lines = rates_text(study(tmp_path), {})
    assert [line.split("  ")[-1] for line in lines if line.startswith("  ")] == ["not measured yet"] * 4
    assert rates_text(Study(folder=tmp_path, title="T"), {}) == []


def test_rates_that_are_refused_or_of_mass_only():
    assert rate_of({"rate_mm_per_y": None, "refused": "too much noise"}) == "no rate: too much noise"
    mass = {"rate_mm_per_y": None, "rate_g_per_m2_d": 1.0, "rate_g_per_m2_d_ci95": [0.8, 1.2]}
    assert rate_of(mass) == "1.00 g/(m² d) (0.80 to 1.20)"
    assert rate_of({}) == "no rate"
