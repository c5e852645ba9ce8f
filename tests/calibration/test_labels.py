"""Labels of scale bars, as people write them and as character recognition gives them."""

import pytest

from surfscan.calibration.labels import is_round, label_step_um, may_be_shortened, parse_label


@pytest.mark.parametrize(("text", "length_um", "understood"), [
    ("50 µm", 50, "50 µm"),
    ("50\u2009\u03bcm", 50, "50 µm"),  # thin space, Greek mu
    ("50um", 50, "50 µm"),
    ("200 nm", 0.2, "200 nm"),
    ("1 mm", 1000, "1 mm"),
    ("0,5 µm", 0.5, "0.5 µm"),
    ("2.50 µm", 2.5, "2.50 µm"),
    ("1 000 µm", 1000, "1000 µm"),
    ("100 micrometers", 100, "100 µm"),
    ("Scale bar: 20 µm", 20, "20 µm"),
    ("— 10 µm —", 10, "10 µm"),
    ("11.9 µm", 11.9, "11.9 µm"),
])  # fmt: skip
def test_as_written(text, length_um, understood):
    label = parse_label(text)
    assert (label.length_um, label.text, label.as_written) == (length_um, understood, True)


@pytest.mark.parametrize(("text", "length_um"), [
    ("1 pm", 1), ("10 jm", 10), ("20 hm", 20), ("2o pmm", 20), ("5O µm", 50), ("l0 um", 10), ("10 µ m", 10),
    ("|20 µm", 20), ("10 Mm", 10_000), ("500 nrn", 0.5), ("50 µ", 50),
    ("I um", 1), ("lµm", 1),
])  # fmt: skip
def test_as_recognition_gives_it(text, length_um):
    """Put right, and marked as such: a stroke before a number may have been its first digit."""
    label = parse_label(text)
    assert label.length_um == length_um
    assert not label.as_written


@pytest.mark.parametrize("text", [
    "WD 10 mm", "WD=10mm", "WD = 8.4 mm", "10.0mm x5.00k", "HFW 256 µm", "FOV: 500 µm", "20 kV", "HV",
    "EHT = 5.00 kV", "Mag = 500 X", "x500", "10", "µm", "", "10 m", "10 cm", "0 µm", "05 µm", ".5 µm",
    "|.10 µm", "1,000 µm", "2 µm 5 mm", "Spot 3", "12 Sep 2011", "15:10:26", "-- µm", "SOO µm", "µm 50",
    "3s um", "1q µm", "| µm", "I0 µm",
])  # fmt: skip
def test_no_label(text):
    assert parse_label(text) is None


@pytest.mark.parametrize(("text", "round_like"), [
    ("1 µm", 1), ("20 nm", 1), ("500 µm", 1), ("0.5 mm", 1), ("2.5 µm", 1), ("300 nm", 0.9), ("15 µm", 0.9),
    ("11.9 µm", 0.4), ("37 µm", 0.4), ("1.10 µm", 0.4),
])  # fmt: skip
def test_round_numbers(text, round_like):
    assert is_round(parse_label(text)) == round_like


def test_step_of_a_number_that_is_not_round():
    """A bar of 11.9 µm may be anything from 11.85 to 11.95 µm; one of 10 µm is drawn to be that."""
    assert label_step_um(parse_label("11.9 µm")) == pytest.approx(0.05)
    assert label_step_um(parse_label("371 nm")) == pytest.approx(0.0005)
    assert label_step_um(parse_label("10 µm")) == 0


@pytest.mark.parametrize(("text", "may"), [
    ("50 µm", True), ("2 µm", True), ("1 mm", True), ("25 nm", True), ("2.5 µm", True),
    ("20 µm", True), ("100 nm", False), ("300 µm", False), ("0.5 mm", False),
])  # fmt: skip
def test_what_may_have_lost_a_digit(text, may):
    assert may_be_shortened(parse_label(text)) is may
