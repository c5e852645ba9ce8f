"""The coverage run of a study's figures counts what it says."""

import math

import coverage_studies
import numpy as np
import pytest
import study_coverage
from coverage_studies import Plate, Population
from study_coverage import Measured, Printed


def plate(name, rate):
    """A plate of which only its mass loss is known, and that exactly."""
    return Plate(name, rate, [], [], {}, {}, {"rate_mm_per_y": rate}, {})


@pytest.fixture
def only_mass_loss(monkeypatch):
    own = {"mass loss": study_coverage.OWN["mass loss"]}
    monkeypatch.setattr(study_coverage, "OWN", own)


def studies(half_width, shift=0.0):
    """Studies whose plates print their rates off by normal errors of 0.02."""
    rng = np.random.default_rng(1)
    drawn_from = Population(0.6, 0.1)
    out = []
    for seed in range(400):
        plates = [plate(f"{seed}-{k}", float(r)) for k, r in enumerate(drawn_from.rates(rng.normal(size=3)))]
        seen = [p.rate_mm_per_y + shift + 0.02 * rng.normal() for p in plates]
        printed = [
            Printed("mass loss", p.name, v, v - half_width, v + half_width)
            for p, v in zip(plates, seen, strict=True)
        ]
        mean = float(np.mean(seen))
        half = 4.303 * float(np.std(seen, ddof=1)) / math.sqrt(3)
        printed.append(Printed("mass loss", "", mean, mean - half, mean + half))
        out.append(Measured(seed, drawn_from, plates, printed, []))
    return out


def test_right_intervals_hold_in_95_percent(only_mass_loss):
    own, group = study_coverage.coverage(studies(1.96 * 0.02))
    assert (own.of, own.given, group.of, group.given) == ("specimen", 1200, "group", 400)
    assert own.held == pytest.approx(0.95, abs=0.02)
    assert group.held == pytest.approx(0.95, abs=0.03)
    assert study_coverage.is_good(own, 500)


def test_narrow_wide_and_shifted_intervals_are_found_out(only_mass_loss):
    narrow = study_coverage.coverage(studies(0.02))[0]
    assert narrow.held == pytest.approx(0.68, abs=0.04)
    assert not study_coverage.is_good(narrow, 500)
    wide = study_coverage.coverage(studies(0.1))[0]
    assert wide.held == 1
    assert not study_coverage.is_good(wide, 500)
    shifted = study_coverage.coverage(studies(1.96 * 0.02, shift=0.05))[0]
    assert shifted.missed_high > 0.5 > shifted.missed_low
    assert shifted.bias == pytest.approx(0.05 / 0.6, rel=0.1)


def test_truth_of_a_group_is_the_mean_of_its_population():
    """Mean of a log-normal variable, and of its square."""
    drawn_from = Population(0.6, 0.2)
    per_loss = 1 / float(study_coverage.loss_um(1.0))
    rate = study_coverage.group_truth(np.array([per_loss, 0.0]), drawn_from)
    square = study_coverage.group_truth(np.array([per_loss**2, 0.0, 0.0]), drawn_from)
    assert rate == pytest.approx(0.6 * math.exp(0.2**2 / 2), rel=1e-9)
    assert square == pytest.approx(0.36 * math.exp(2 * 0.2**2), rel=1e-9)


def test_a_study_goes_through_report_code(monkeypatch):
    """One plate with one field of each kind: every figure is printed, none of the group has an interval."""
    monkeypatch.setattr(coverage_studies, "PLATES", 1)
    monkeypatch.setattr(coverage_studies, "FIELDS", 1)
    made = study_coverage.measure(5)
    assert made.failed == []
    of_plate = {p.figure: p for p in made.printed if p.of}
    assert set(of_plate) == set(study_coverage.OWN)
    for figure, printed in of_plate.items():
        assert math.isfinite(printed.value), figure
        assert printed.low <= printed.value <= printed.high or math.isnan(printed.high), figure
    assert all(math.isnan(p.low) for p in made.printed if not p.of)
