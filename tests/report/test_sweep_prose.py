"""Sentences about sweeps."""

from surfscan.report.rate_records import of_procedure
from surfscan.report.sweep_prose import cyclic_caption, estimate, sweep_caption, sweep_sentences, volts


def test_summary_counts_given_refused_and_failed(rate_records):
    sweeps = of_procedure(rate_records.values(), "sweep")
    said = sweep_sentences(sweeps)
    assert said[0] == "4 sweeps: corrosion current from 3, 1 without a result."
    at = volts(rate_records["broken.csv"].figure("breakdown_V"))
    assert said[1] == (
        f"2 sweeps with a passive stretch: breakdown in 1 at {at}, no breakdown up to the vertex in 1."
    )


def test_caption_says_what_how_sure_and_on_what(rate_records):
    said = sweep_caption(rate_records["active.csv"])
    assert said.startswith("Specimen E1, twin of U1; 1 run.")
    assert "Zero current at −1.5500\u00a0V (" in said and "by fit of both branches (" in said
    assert "Slopes: anodic " in said and "Polarization resistance " in said


def test_refusal_takes_the_place_of_a_current(rate_records, changed):
    record = rate_records["active.csv"]
    runs = {**record.table("sweep_runs")}
    runs["refused"] = runs["refused"].astype("U40")
    runs["refused"][:] = "too noisy"
    said = sweep_caption(changed(record, {"sweep_runs": runs}))
    assert "No corrosion current: too noisy." in said and "Slopes" not in said


def test_censored_breakdown_is_a_bound(rate_records):
    assert "≥\u00a00.8" in cyclic_caption(rate_records["held.csv"])
    record = rate_records["broken.csv"]
    at = record.figure("breakdown_V")
    broken = cyclic_caption(record)
    assert f"Breakdown at {volts(at)}, {volts(at + 0.19)} above the rest potential." in broken
    assert (
        f"Protection at {volts(record.figure('protection_V'))}" in broken
        and "decades more than on the way up" in broken
    )


def test_potentials_have_a_true_minus(rate_records):
    assert volts(-0.2) == "−0.200\u00a0V"
    assert estimate(rate_records["active.csv"], "breakdown_V", "V") == ""
